"""Settings of Python's garbage collector once everything is loaded."""

import gc

# A page creates some thousand short-lived objects, and cached data are hundreds of thousands of long-lived ones. With
# the default thresholds a full collection would run every few pages, so it runs more rarely. Young objects are
# collected often and in small numbers: a large collection delays a page by 50 ms.
_THRESHOLDS = (10_000, 5, 80)


def freeze_startup_objects() -> None:
    """Freezes the objects loaded at start, so that no collection visits them again."""
    gc.freeze()
    gc.set_threshold(*_THRESHOLDS)

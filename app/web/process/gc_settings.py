"""Settings of Python's garbage collector while the program loads, and once everything is loaded."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

# A page creates some thousand short-lived objects, and cached data are hundreds of thousands of long-lived ones. With
# the default thresholds a full collection would run every few pages, so it runs more rarely. Young objects are
# collected often and in small numbers: a large collection delays a page by 50 ms.
_THRESHOLDS = (10_000, 5, 80)


@contextmanager
def loading_without_collection() -> Iterator[None]:
    """For what is loaded at start: nearly all of it stays, and looking through it was a tenth of the time to the first
    page.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def freeze_startup_objects() -> None:
    """Freezes the objects loaded at start, so that no collection visits them again."""
    gc.freeze()
    gc.set_threshold(*_THRESHOLDS)

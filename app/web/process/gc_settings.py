"""What a server tells Python's collector of unused objects once everything is loaded."""

import gc

# A page makes some thousands of objects that are gone with it, and what is kept of a bench is hundreds of thousands
# that stay. With Python's own thresholds the collector would go through all of these every few pages; so that waits
# longer. What is new is looked through often and in small lots: a large lot is a page that answers 50 ms later.
_THRESHOLDS = (10_000, 5, 80)


def freeze_startup_objects() -> None:
    """What is loaded stays loaded: the collector need not go through it again with each page."""
    gc.freeze()
    gc.set_threshold(*_THRESHOLDS)

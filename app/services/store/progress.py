"""Progress of long work: a bar on the command line, a sentence on a page."""

from collections.abc import Callable

# Called with the steps done, the total, and a short description of the step.
OnProgress = Callable[[int, int, str], None]


def no_progress(_done: int, _total: int, _what: str) -> None:
    """Progress callback that does nothing."""

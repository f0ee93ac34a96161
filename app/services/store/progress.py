"""How long work tells how far it is: on the command line as a bar, on a page as a sentence."""

from collections.abc import Callable

# Called with the steps done, the steps in all, and what is being done in a few words.
OnProgress = Callable[[int, int, str], None]


def no_progress(_done: int, _total: int, _what: str) -> None:
    """The progress of work that nobody watches."""

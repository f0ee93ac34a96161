"""How far long requests are, for the page that waits for them.

The form that starts a long piece of work sends a key of its own making with it; the page then asks for the progress
under that key. The board holds nothing but numbers and a few words, and forgets a key when its work is done.
"""

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from app.services.progress import OnProgress, say_nothing

KEY_FIELD = "progress_key"
_KEY = re.compile(r"[0-9a-f]{32}")  # made at random by the page, so nobody guesses another's
_MOST_WATCHED = 100


@dataclass(frozen=True, slots=True)
class Progress:
    """Steps done, steps in all, and what is being done in a few words."""

    done: int
    total: int
    what: str


class ProgressBoard:
    """The progress of the requests that one process works on."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: dict[str, Progress] = {}

    @contextmanager
    def watched(self, key: str) -> Iterator[OnProgress]:
        """What long work calls with its progress; a key that is none is worked for unseen."""
        if not _KEY.fullmatch(key):
            yield say_nothing
            return

        def tell(done: int, total: int, what: str) -> None:
            with self._lock:
                if key in self._known or len(self._known) < _MOST_WATCHED:
                    self._known[key] = Progress(done, total, what)

        try:
            yield tell
        finally:
            with self._lock:
                self._known.pop(key, None)

    def of(self, key: str) -> Progress | None:
        """None where nothing is known under the key: not begun, done, or worked on by another process."""
        with self._lock:
            return self._known.get(key)


BOARD = ProgressBoard()

"""How far long requests are, for the page that waits for them.

The form that starts a long piece of work sends a key of its own making with it; the page then asks for the progress
under that key. Each piece of work keeps a small file in the data folder while it lasts, since the process that is asked
may be another than the one that works, and the store is held by the work. The file holds two numbers and a few words.
"""

import json
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Depends, Request

from app.services.store.progress import OnProgress, no_progress

KEY_FIELD = "progress_key"
_KEY = re.compile(r"[0-9a-f]{32}")  # made at random by the page, so nobody guesses another's
_LEFT_BEHIND_AFTER_S = 86_400  # by a process that was killed


@dataclass(frozen=True, slots=True)
class Progress:
    """Steps done, steps in all, and what is being done in a few words."""

    done: int
    total: int
    what: str


class ProgressBoard:
    """The progress of the requests that the processes of one bench work on."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @contextmanager
    def watched(self, key: str) -> Iterator[OnProgress]:
        """What long work calls with its progress; a key that is none is worked for unseen."""
        if not _KEY.fullmatch(key):
            yield no_progress
            return
        with suppress(OSError):  # work goes on where its progress cannot be told, as on a full disk
            self._folder.mkdir(exist_ok=True)
            self._remove_left_behind()
        told, unfinished = self._folder / f"{key}.json", self._folder / f"{key}.unfinished"

        def tell(done: int, total: int, what: str) -> None:
            with suppress(OSError):
                unfinished.write_text(json.dumps(asdict(Progress(done, total, what))), encoding="utf-8")
                unfinished.replace(told)

        try:
            yield tell
        finally:
            for file in (told, unfinished):
                with suppress(OSError):
                    file.unlink(missing_ok=True)

    def of(self, key: str) -> Progress | None:
        """None where nothing is known under the key: not begun, or done."""
        if not _KEY.fullmatch(key):
            return None
        try:
            return Progress(**json.loads((self._folder / f"{key}.json").read_text(encoding="utf-8")))
        except OSError:
            return None

    def _remove_left_behind(self) -> None:
        oldest = time.time() - _LEFT_BEHIND_AFTER_S
        for file in self._folder.iterdir():
            with suppress(FileNotFoundError):  # another process was first
                if file.stat().st_mtime < oldest:
                    file.unlink()


def progress_board(request: Request) -> ProgressBoard:
    return ProgressBoard(request.state["settings"].data_folder / "progress")


ProgressBoardDep = Annotated[ProgressBoard, Depends(progress_board)]

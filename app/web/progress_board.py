"""Progress of long requests, for the page that waits for them.

The form that starts long work sends a random key; the page then polls the progress under that key. Each running job has
a small file in the data folder, because the polled process may not be the one that works, and the store is locked by
the work. The file holds two numbers and a short text.
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
_KEY = re.compile(r"[0-9a-f]{32}")  # random, made by the page, so that nobody can guess another's
_LEFT_BEHIND_AFTER_S = 86_400  # by a killed process


@dataclass(frozen=True, slots=True)
class Progress:
    """Steps done, total, and a short description."""

    done: int
    total: int
    what: str


class ProgressBoard:
    """Progress of the requests of all processes of one bench."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @contextmanager
    def watched(self, key: str) -> Iterator[OnProgress]:
        """Progress callback for long work; with an invalid key, progress is not published."""
        if not _KEY.fullmatch(key):
            yield no_progress
            return
        with suppress(OSError):  # work continues if progress cannot be written, for example on a full disk
            self._folder.mkdir(exist_ok=True)
            self._remove_left_behind()
        finished, unfinished = self._folder / f"{key}.json", self._folder / f"{key}.unfinished"

        def tell(done: int, total: int, what: str) -> None:
            with suppress(OSError):
                unfinished.write_text(json.dumps(asdict(Progress(done, total, what))), encoding="utf-8")
                unfinished.replace(finished)

        try:
            yield tell
        finally:
            for file in (finished, unfinished):
                with suppress(OSError):
                    file.unlink(missing_ok=True)

    def of(self, key: str) -> Progress | None:
        """None for an unknown key: not started, or finished."""
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

"""Scheduled backups: one a day while the server runs, verified, of which the last days, weeks and months are kept."""

import hashlib
import json
import logging
import os
import re
import shutil
import sqlite3
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app.errors import HazefallError, StoreProblem
from app.services.store.backup import backup_store
from app.services.store.online_copy import connect_to_read
from app.services.store.open import sqlite_file
from app.services.store.problems import store_problem_from
from app.settings import Settings

DAILY, WEEKLY, MONTHLY = 7, 4, 12
EVERY = timedelta(days=1)
OLD_AFTER = timedelta(days=3)
_NAME = re.compile(r"scheduled-(\d{8}-\d{6})(-[0-9a-f]{8})?\.sqlite")
_NO_CHANGE = "-00000000"
_TURN_LASTS_S = 2 * 3600.0  # after this a turn was left behind by a process that ended
_LOG = logging.getLogger("hazefall.backups")


@dataclass(frozen=True, slots=True)
class BackupState:
    """Outcome of the last scheduled backup.

    made_at : of the last one that was verified, ISO 8601; "" if there is none yet
    problem : why the last attempt failed; "" if it did not
    """

    made_at: str = ""
    path: str = ""
    size_bytes: int = 0
    problem: str = ""


def backup_folder(settings: Settings) -> Path:
    """Where scheduled backups go: the folder of the settings, or one in the data folder."""
    return settings.backup_folder or settings.data_folder / "backups" / "scheduled"


def backups_there(settings: Settings) -> Sequence[tuple[datetime, Path]]:
    """Times and paths of the scheduled backups of this bench, oldest first; other benches may use the same folder.

    Raises OSError where the folder cannot be read.
    """
    folder, marks = backup_folder(settings), (None, _mark(settings))  # without a mark: of a version before marks
    found = [
        (datetime.strptime(named[1], "%Y%m%d-%H%M%S").replace(tzinfo=UTC), path)
        for path in (folder.iterdir() if folder.is_dir() else ())
        if (named := _NAME.fullmatch(path.name)) and named[2] in marks
    ]
    return sorted(found)


def _mark(settings: Settings) -> str:
    """Tells the backups of one bench from those of another, by its first change; zeros while it has none."""
    store = sqlite_file(settings.store_url)
    if store is None or not store.exists():
        return _NO_CHANGE
    try:
        with closing(connect_to_read(store)) as connection:
            first = connection.execute("SELECT at, who, subject, after FROM changes ORDER BY id LIMIT 1").fetchone()
    except sqlite3.Error as error:
        raise store_problem_from(error, str(store)) or StoreProblem(
            f"{store} cannot be read: {error}. Run `hazefall check` to see what is wrong."
        ) from error
    return f"-{hashlib.sha256(repr(first).encode()).hexdigest()[:8]}" if first else _NO_CHANGE


def times_to_keep(times: Sequence[datetime]) -> set[datetime]:
    """The newest of each of the last seven days, four weeks and twelve months that have one.

    >>> day = datetime(2026, 3, 1, tzinfo=UTC)
    >>> len(times_to_keep([day + timedelta(days=number) for number in range(365)]))
    21
    """
    kept: set[datetime] = set()
    periods: tuple[tuple[int, Callable[[datetime], object]], ...] = (
        (DAILY, lambda at: at.date()),
        (WEEKLY, lambda at: at.isocalendar()[:2]),
        (MONTHLY, lambda at: (at.year, at.month)),
    )
    for most, period in periods:
        newest: dict[object, datetime] = {}
        for at in sorted(times):
            newest[period(at)] = at
        kept |= set(list(newest.values())[-most:])
    return kept


def backup_if_due(settings: Settings, now: datetime | None = None) -> BackupState | None:
    """Makes the backup of the day and removes those that are no longer kept; None if none is due.

    A failure is logged and noted, and tried again the next time; it never stops the server.
    """
    at = now or datetime.now(UTC)
    folder = backup_folder(settings)
    if sqlite_file(settings.store_url) is None:  # a database server has its own tools
        return None
    try:
        # one that a wrong clock dated in the future neither stops the backups nor has one made at every look
        if any(timedelta(0) <= at - made < EVERY for made, _ in backups_there(settings)):
            return None
        folder.mkdir(parents=True, exist_ok=True)
        if not _take_turn(folder):
            return None
        try:
            state = _made(settings, folder, at)
        finally:
            _turn(folder).unlink(missing_ok=True)
    except (HazefallError, OSError) as error:
        words = error.message if isinstance(error, HazefallError) else f"{error.filename}: {error.strerror}"
        _LOG.warning(f"The scheduled backup failed: {words}")
        state = BackupState(**asdict(backup_state(settings)) | {"problem": words})
    _note(settings, state)
    return state


def backup_state(settings: Settings) -> BackupState:
    """What is known of the last scheduled backup."""
    try:
        return BackupState(**json.loads(_note_file(settings).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return BackupState()


def _made(settings: Settings, folder: Path, at: datetime) -> BackupState:
    store = sqlite_file(settings.store_url)
    needed = store.stat().st_size if store else 0
    free = shutil.disk_usage(folder).free
    if free < 2 * needed:
        raise StoreProblem(
            f"{free / 1e6:.0f} MB are free for {folder}, and {2 * needed / 1e6:.0f} MB are needed. Make room, or "
            "choose a folder on another disk with HAZEFALL_BACKUP_FOLDER."
        )
    copy = backup_store(settings, folder / f"scheduled-{at:%Y%m%d-%H%M%S}{_mark(settings)}.sqlite")
    there = backups_there(settings)
    kept = times_to_keep([made for made, _ in there])
    for made, path in there:
        if made not in kept:
            path.unlink(missing_ok=True)
    return BackupState(at.isoformat(), str(copy.path), copy.size_bytes)


def _take_turn(folder: Path) -> bool:
    """Whether this process makes the backup; of several server processes only one does."""
    turn = _turn(folder)
    try:
        if abs(time.time() - turn.stat().st_mtime) > _TURN_LASTS_S:  # the clock may have been set back since
            turn.unlink(missing_ok=True)
    except FileNotFoundError:
        pass
    try:
        os.close(os.open(turn, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
    except FileExistsError:
        return False
    return True


def _turn(folder: Path) -> Path:
    return folder / "scheduled.turn"


def _note_file(settings: Settings) -> Path:
    return settings.data_folder / "last-backup.json"


def _note(settings: Settings, state: BackupState) -> None:
    path = _note_file(settings)
    try:
        unfinished = path.with_name(f"{path.name}.unfinished")
        unfinished.write_text(json.dumps(asdict(state)), encoding="utf-8")
        unfinished.replace(path)
    except OSError as error:
        _LOG.warning(f"The time of the backup cannot be noted in {path}: {error.strerror}")

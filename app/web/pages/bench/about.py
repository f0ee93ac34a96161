"""Page about this bench for administrators: program, store and network, to be copied into a report."""

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from sqlite3 import sqlite_version

from fastapi import Request
from starlette.responses import Response

from app.compute.method import METHOD_VERSION
from app.compute.wording.numbers import counted
from app.services.access.seen_request import UNTRUSTED, SeenRequest, request_problems
from app.services.store.copy import shown_address
from app.services.store.scheduled_backups import (
    DAILY,
    MONTHLY,
    OLD_AFTER,
    WEEKLY,
    BackupState,
    backup_folder,
    backup_state,
    backups_there,
)
from app.services.store.size import StoreSize, store_size
from app.settings import Settings
from app.web.dependencies import RenderDep, SessionDep, SettingsDep
from app.web.routers import page_router
from app.web.templating.page_context import program_version

router = page_router()
_LIBRARIES = ("numpy", "scipy", "pandas", "SQLAlchemy", "fastapi")  # of which results and answers depend most


@dataclass(frozen=True, slots=True)
class AboutPage:
    """`report` holds name and value of each line of the copyable text; `problems` are about the network.

    backups : sentence on the scheduled backups; backup_problem : what is wrong with them, "" if nothing
    """

    size: StoreSize
    backups: str
    backup_problem: str
    report: Sequence[tuple[str, str]]
    seen: SeenRequest
    problems: Sequence[str]


@router.get("/about")
def about(request: Request, session: SessionDep, settings: SettingsDep, render: RenderDep) -> Response:
    seen: SeenRequest = request.state["seen"]
    size = store_size(session)
    warned_of = [UNTRUSTED.format(peer=peer) for peer in request.app.state.untrusted_proxies]
    problems = list(dict.fromkeys([*request_problems(seen), *warned_of]))
    where = shown_address(settings.database_url) if settings.database_url else str(settings.data_folder)
    backups, backup_problem = _backups(settings, size, datetime.now(UTC))
    report = [
        ("Hazefall", f"{program_version()}, decay analysis {METHOD_VERSION}"),
        ("Python", f"{platform.python_version()} on {platform.system()} {platform.release()}, {platform.machine()}"),
        ("Libraries", ", ".join([*(f"{name} {version(name)}" for name in _LIBRARIES), f"SQLite {sqlite_version}"])),
        ("Store", f"{'PostgreSQL' if size.in_server else 'SQLite'}, {where}"),
        ("Size", f"{size.size_bytes / 1e6:.1f} MB"),
        ("Contents", f"{size.units} units, {size.trials:,} trials, {size.readings:,} rows of readings"),
        ("Backups", f"{backups} {backup_problem}".strip()),
        ("Connection", f"{seen.scheme}, host {seen.host}, client {seen.client_address}, from {seen.connected_from}"),
    ]
    return render("pages/bench/about.html", AboutPage(size, backups, backup_problem, report, seen, problems))


def _backups(settings: Settings, size: StoreSize, now: datetime) -> tuple[str, str]:
    """A sentence on the scheduled backups, and what is wrong with them."""
    if size.in_server:
        return "The bench is on a database server; make backups with its own tools, such as pg_dump.", ""
    folder, state = backup_folder(settings), backup_state(settings)
    try:
        made = [at for at, _ in backups_there(settings)]
    except OSError as error:
        problem = f"The folder cannot be read: {error.strerror}. Connect its disk, or choose another folder."
        return f"A server that runs makes a verified backup a day in {folder}.", problem
    number = counted(len(made), "verified backup")
    kept = f"of the last {DAILY} days, {WEEKLY} weeks and {MONTHLY} months"
    words = f"{number} in {folder}; a server that runs makes one a day and keeps those {kept}."
    return words, _backup_problem(state, made, now)


def _backup_problem(state: BackupState, made: Sequence[datetime], now: datetime) -> str:
    """`made` : times of the backups that are there."""
    if state.problem:
        return f"The last attempt failed: {state.problem}"
    if not made and state.made_at:
        return (
            f"The last backup, {state.path}, is no longer there. Connect its disk, or make one with: hazefall backup."
        )
    if not made:
        return "No scheduled backup has been made yet. A server makes the first five minutes after it started."
    age = now - max([at for at in made if at <= now] or made)  # a wrong clock may have dated one in the future
    if age > OLD_AFTER:
        return (
            f"The last backup is {age.days} days old. It is made while the server runs. Let it run, or make one with: "
            "hazefall backup."
        )
    return ""

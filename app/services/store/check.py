"""Checks a store: complete, unaltered, and computed with the current method."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, func, select, text

from app.compute.method import METHOD_VERSION
from app.services.store.progress import OnProgress, no_progress
from app.storage.models.all_models import METADATA
from app.storage.models.logs import VALUE_COLUMNS, Log, LogChannel, RawFile, readings
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, Trial

# what protects the record of changes, and how to list it in each kind of database
_KEEPERS = {
    "sqlite": {"changes_refuse_update", "changes_refuse_delete", "changes_refuse_replace"},
    "postgresql": {"changes_refuse_update", "changes_refuse_truncate"},
}
_KEEPERS_THERE = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'changes'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE tgrelid = 'changes'::regclass AND tgenabled <> 'D'",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding of the check. `wrong`: data are damaged or missing; otherwise for information."""

    wrong: bool
    subject: str
    message: str


@dataclass(frozen=True, slots=True)
class StoreCheck:
    """What was checked, with counts, and the findings."""

    counted: dict[str, int]
    findings: tuple[Finding, ...]

    @property
    def sound(self) -> bool:
        return not any(finding.wrong for finding in self.findings)


def check_store(engine: Engine, on_progress: OnProgress | None = None) -> StoreCheck:
    """Checks file integrity, references, protection of the record of changes, raw files against their hashes, readings
    against their logs, and results against the method version.
    """
    progress = on_progress or no_progress
    with engine.connect() as connection:
        counted = {
            table.name: connection.scalar(select(func.count()).select_from(table)) or 0
            for table in METADATA.sorted_tables
        }
        steps = counted["raw_files"] + 3
        progress(0, steps, "Checking the file")
        findings = list(_integrity(connection))
        progress(1, steps, "Checking references")
        findings += _references(connection)
        findings += _record_of_changes(connection)
        for done, finding in enumerate(_raw_files(connection), start=2):
            progress(done, steps, "Checking raw files against their hashes")
            findings += [finding] if finding else []
        findings += _readings(connection, counted["readings"])
        findings += _results(connection)
        progress(steps, steps, "Checked")
    return StoreCheck(counted, tuple(findings))


def _integrity(connection: Connection) -> Iterator[Finding]:
    if connection.dialect.name == "sqlite":
        for row in connection.execute(text("PRAGMA integrity_check")):
            if row[0] != "ok":
                yield Finding(True, "store", f"The file is damaged: {row[0]}. Restore a copy.")


def _references(connection: Connection) -> Iterator[Finding]:
    if connection.dialect.name == "sqlite":
        for table, row_id, parent, _ in connection.execute(text("PRAGMA foreign_key_check")):
            yield Finding(True, table, f"Row {row_id} of {table} refers to a row of {parent} that is missing.")


def _record_of_changes(connection: Connection) -> Iterator[Finding]:
    """Whether the database still refuses to alter the record; without that protection it could be rewritten
    unnoticed.
    """
    there = set(connection.scalars(text(_KEEPERS_THERE[connection.dialect.name])))
    missing = sorted(_KEEPERS[connection.dialect.name] - there)
    if missing:
        yield Finding(
            True,
            "changes",
            f"The store no longer protects the change history: {', '.join(missing)} was removed. Compare the history "
            "with an earlier copy, and restore that copy.",
        )


def _raw_files(connection: Connection) -> Iterator[Finding | None]:
    keys = connection.scalars(select(RawFile.sha256)).all()
    for sha256 in keys:  # one at a time, because all of them may not fit into memory
        size, content = connection.execute(
            select(RawFile.size_bytes, RawFile.content).where(RawFile.sha256 == sha256)
        ).one()
        found = hashlib.sha256(content).hexdigest()
        if found != sha256 or size != len(content):
            yield Finding(
                True,
                "raw file",
                f"The raw file {sha256[:12]}… holds {len(content)} bytes with the hash {found[:12]}…; it was stored "
                f"with {size} bytes. It was changed in the store.",
            )
        else:
            yield None


def _readings(connection: Connection, stored: int) -> Iterator[Finding]:
    """Whether each log has its rows, and each row belongs to exactly one log."""
    channels = select(LogChannel.log_id, func.count().label("number")).group_by(LogChannel.log_id).subquery()
    rows_of_log = (channels.c.number + len(VALUE_COLUMNS) - 1) // len(VALUE_COLUMNS) * Log.readings
    found = (
        select(func.count())
        .select_from(readings)
        .where(readings.c.id >= Log.first_reading, readings.c.id < Log.first_reading + rows_of_log)
        .correlate(Log, channels)
        .scalar_subquery()
    )
    recorded = (
        select(Log.id, Log.file_name, Log.first_reading, rows_of_log, found)
        .join(channels, channels.c.log_id == Log.id)
        .order_by(Log.first_reading)
    )
    end_before, of_logs = 0, 0
    for log_id, file_name, first, wanted, rows in connection.execute(recorded):
        of_logs += rows
        if rows != wanted:
            yield Finding(
                True, "log", f"Log {log_id} ({file_name}) holds {rows} rows of readings; it was read with {wanted}."
            )
        if first is not None and first < end_before:
            yield Finding(True, "log", f"Log {log_id} ({file_name}) shares rows of readings with the log before it.")
        end_before = max(end_before, (first or 0) + wanted)
    if of_logs < stored:
        yield Finding(True, "readings", f"{stored - of_logs} rows of readings belong to no log.")


def _results(connection: Connection) -> Iterator[Finding]:
    without = connection.scalars(
        select(Trial.id).where(
            Trial.trashed_at.is_(None), ~select(ChannelResult.id).where(ChannelResult.trial_id == Trial.id).exists()
        )
    ).all()
    for trial_id in without:
        yield Finding(False, "trial", f"Trial {trial_id} has no result: its log holds no particle channel.")
    for table, what in ((ChannelResult, "results"), (SettingSummary, "summaries")):
        for version, number in connection.execute(
            select(table.method_version, func.count())
            .where(table.method_version != METHOD_VERSION)
            .group_by(table.method_version)
        ):
            yield Finding(
                False,
                what,
                f"{number} {what} were made by method {version}; this program has {METHOD_VERSION}. "
                "Run `hazefall recompute`.",
            )

"""Imports the logs of a list. Each is stored completely or not at all, and a failing one does not
stop the others."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, HazefallError, InvalidValue
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.adding_trials.add import add_read_trial, start_of
from app.services.adding_trials.import_list import ImportLine
from app.services.adding_trials.worked_log import WorkedLog, worked_ahead
from app.services.bench.definitions import NewLogger, NewRoom, NewSmokeSource
from app.services.bench.loggers import add_logger, find_logger
from app.services.bench.rooms import add_room, find_room
from app.services.bench.smoke_sources import add_smoke_source, find_smoke_source
from app.services.logs.hours_into_log import hours_into_log
from app.services.logs.logger_profiles import load_profile
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.results.update_derived import update_derived_results
from app.services.store.progress import OnProgress, no_progress
from app.services.units.definitions import NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit, find_setting, find_unit
from app.storage.engine import session_scope
from app.storage.models.loggers import LoggerProfile

# Logs per transaction: derived results are updated once per batch. Its logs are read and analysed first, for about so
# long, while others write; the transaction then only stores them.
BATCH_SIZE = 50
LONGEST_BATCH_S = 3.0


@dataclass(frozen=True, slots=True)
class ImportedLog:
    """Result for one log: its trial, or the message why it failed. `present`: it was stored before."""

    line: ImportLine
    trial_id: int | None
    message: str = ""
    present: bool = False


def import_logs(
    engine: Engine,
    folder: Path,
    lines: Sequence[ImportLine],
    *,
    add_missing: bool = False,
    on_progress: OnProgress | None = None,
    now: datetime | None = None,
) -> list[ImportedLog]:
    """Imports logs in batches.

    folder : base folder of the file names
    add_missing : units, settings, rooms, loggers and smoke sources that are not on the bench are added
    """
    progress = on_progress or no_progress
    at = now or datetime.now(UTC)
    imported: list[ImportedLog] = []
    while len(imported) < len(lines):
        batch: list[tuple[ImportLine, WorkedLog | ImportedLog]] = []
        begun = time.monotonic()
        with session_scope(engine, writes=False) as session:
            for line in lines[len(imported) : len(imported) + BATCH_SIZE]:
                batch.append((line, _worked(session, folder, line, add_missing, at)))
                progress(len(imported) + len(batch), len(lines), line.file)
                if time.monotonic() - begun > LONGEST_BATCH_S:
                    break
        imported += _store_batch(engine, batch, add_missing, at)
    return imported


def _worked(
    session: Session, folder: Path, line: ImportLine, add_missing: bool, at: datetime
) -> WorkedLog | ImportedLog:
    """The log, analysed unless its bytes are stored already; or why it cannot be imported."""
    try:
        content = (folder / line.file).read_bytes()
        choices = _choices(session, line)
        table = read_log(content, Path(line.file).name, choices)
        log = WorkedLog(content, table, choices)
        if not add_missing:
            _new_trial(session, line, table, add_missing=False)  # raises where anything is missing
        logger_id = find_logger(session, line.logger) if line.logger else None
        return worked_ahead(session, log, _kind(line), logger_id, _marks(line, table), start_of(table, None, at))
    except HazefallError as error:
        return ImportedLog(line, None, error.message)
    except OSError as error:
        return ImportedLog(line, None, f"{line.file} cannot be opened: {error.strerror}. Check its name and folder.")


def _store_batch(
    engine: Engine, batch: Sequence[tuple[ImportLine, WorkedLog | ImportedLog]], add_missing: bool, at: datetime
) -> list[ImportedLog]:
    with session_scope(engine) as session:
        stored = [
            log if isinstance(log, ImportedLog) else _store_one(session, line, log, add_missing, at)
            for line, log in batch
        ]
        new = [one.trial_id for one in stored if one.trial_id is not None]
        if new:
            update_derived_results(session, new, why=f"{len(new)} logs were imported", now=at, new_trials=new)
    return stored


def _store_one(session: Session, line: ImportLine, log: WorkedLog, add_missing: bool, at: datetime) -> ImportedLog:
    try:
        with session.begin_nested():
            new = _new_trial(session, line, log.table, add_missing)
            trial_id = add_read_trial(
                session, log.content, log.table, new, log.choices, at, settle=False, analyse=log.analyse
            )
            return ImportedLog(line, trial_id)
    except AlreadyStored as error:
        return ImportedLog(line, None, error.message, present=True)
    except HazefallError as error:
        return ImportedLog(line, None, error.message)


def _choices(session: Session, line: ImportLine) -> ReadingChoices:
    choices = ReadingChoices()
    if line.profile:
        choices = load_profile(session, _profile_id(session, line.profile))
    named = {name: getattr(line, name) for name in ("timezone", "box") if getattr(line, name)}
    return replace(choices, **named)


def _profile_id(session: Session, name: str) -> int:
    found = session.scalar(select(LoggerProfile.id).where(func.lower(LoggerProfile.name) == name.strip().lower()))
    return _found(found, "logger profile", name, "profile")


def _new_trial(session: Session, line: ImportLine, table: LogTable, add_missing: bool) -> NewTrial:
    kind = _kind(line)
    unit_id = _unit(session, line, add_missing) if kind == UNIT_RUNNING else None
    return NewTrial(
        kind=kind,
        room_id=_room(session, line, add_missing),
        unit_under_test_id=unit_id,
        setting_id=_setting(session, unit_id, line, add_missing) if unit_id is not None else None,
        smoke_source_id=_smoke_source(session, line, add_missing),
        logger_id=_logger(session, line, add_missing),
        profile_id=_profile_id(session, line.profile) if line.profile else None,
        tested_by=line.tested_by,
        filter_state=line.filter_state,
        notes=line.notes,
        marks=_marks(line, table),
    )


def _kind(line: ImportLine) -> str:
    return line.kind or (UNIT_RUNNING if line.model else EMPTY_ROOM)


def _marks(line: ImportLine, table: LogTable) -> TrialMarks:
    return TrialMarks(
        unit_on_s=_seconds(line.unit_on, table, "unit_on", "Unit on"),
        end_s=_seconds(line.end, table, "end", "The end of the run"),
        background_ug_m3=line.background_ug_m3,
    )


def _seconds(text: str, table: LogTable, field: str, what: str) -> float | None:
    hours = hours_into_log(text or None, table, field, what)
    return None if hours is None else hours * 3600


def _unit(session: Session, line: ImportLine, add_missing: bool) -> int:
    found = find_unit(session, line.maker, line.model)
    if found is None and add_missing:
        kind = line.kind_of_cleaning or "other"
        return add_unit(session, NewUnit(maker=line.maker, model=line.model, kind=kind), who=line.tested_by)
    return _found(found, "unit under test", f"{line.maker} {line.model}".strip(), "model")


def _setting(session: Session, unit_id: int, line: ImportLine, add_missing: bool) -> int:
    found = find_setting(session, unit_id, line.setting)
    if found is None and add_missing:
        return add_setting(session, unit_id, NewSetting(name=line.setting), who=line.tested_by)
    return _found(found, "setting", line.setting, "setting")


def _room(session: Session, line: ImportLine, add_missing: bool) -> int:
    found = find_room(session, line.room)
    if found is None and add_missing and line.room:
        if line.room_volume_m3 is None:
            raise InvalidValue(
                f"The new room {line.room!r} needs a volume. Enter it in the column room_volume_m3 of a list "
                "(--manifest), or add the room in the browser first."
            )
        room = NewRoom(
            name=line.room,
            room_volume_m3=line.room_volume_m3,
            room_volume_uncertainty_m3=line.room_volume_uncertainty_m3,
        )
        return add_room(session, room, who=line.tested_by)
    return _found(found, "room", line.room, "room")


def _logger(session: Session, line: ImportLine, add_missing: bool) -> int | None:
    if not line.logger:
        return None
    found = find_logger(session, line.logger)
    if found is None and add_missing:
        return add_logger(session, NewLogger(name=line.logger), who=line.tested_by)
    return _found(found, "logger", line.logger, "logger")


def _smoke_source(session: Session, line: ImportLine, add_missing: bool) -> int | None:
    if not line.smoke_source:
        return None
    found = find_smoke_source(session, line.smoke_source)
    if found is None and add_missing:
        return add_smoke_source(
            session, NewSmokeSource(name=line.smoke_source, aerosol=line.aerosol or "smoke"), who=line.tested_by
        )
    return _found(found, "smoke source", line.smoke_source, "smoke_source")


def _found(found: int | None, what: str, name: str, field: str) -> int:
    if found is None and not name:
        raise InvalidValue(
            f"No {what} is given. Name it with --{field.replace('_', '-')}, or in the column {field} of a list "
            "(--manifest).",
            field=field,
        )
    if found is None:
        raise InvalidValue(
            f"There is no {what} {name!r}. Add it first, correct the name, or use --add-missing.",
            field=field,
        )
    return found

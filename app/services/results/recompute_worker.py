"""Worker process of a re-analysis: reads a trial over a read-only connection and analyses it."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, NullPool, create_engine, select

from app.compute.collocation.rate_effect import LoggerLine
from app.compute.decay.result import ClearLevel
from app.compute.signal.logger_noise import LoggerNoise
from app.compute.signal.logger_timing import LoggerTiming
from app.services.logs.readings import read_columns
from app.services.logs.trial_fields import TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.analyse_channels import AnalysisTerms, analyse_readings, is_analysed
from app.services.results.rows import note_columns
from app.services.results.trial_results import marks_in_hours, result_values
from app.services.store.open import sqlite_file
from app.storage.models.logs import LogChannel


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialTask:
    """Input of the analysis of one trial besides its readings. `of_logger`: as in AnalysisTerms, once it is learned."""

    trial_id: int
    log_id: int
    kind: str
    marks: TrialMarks
    clear_level_kind: str
    clear_level_value: float
    saturation_level_ug_m3: float | None
    response_time_s: float | None
    timing: LoggerTiming
    logger_id: int | None
    excluded: bool
    of_logger: Mapping[str, LoggerNoise] = field(default_factory=dict)
    lines: Mapping[str, LoggerLine] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class WorkedTrial:
    """Results of one trial as columns: channel name to values, and to rows of notes."""

    trial_id: int
    results: dict[str, dict[str, Any]]
    notes: dict[str, list[dict[str, Any]]]


def work(url: str, task: TrialTask) -> WorkedTrial:
    """Analyses one trial of the store at `url`."""
    connection = _reading_connection(url)
    found = connection.execute(
        select(LogChannel.position, LogChannel.channel, LogChannel.unit)
        .where(LogChannel.log_id == task.log_id)
        .order_by(LogChannel.position)
    ).all()
    # other channels (pressure, power, ...) do not affect the decay and are not read
    channels = [(place, name, unit) for place, name, unit in found if is_analysed(name) or name in _CONDITIONS]
    readings = read_columns(connection, task.log_id, channels)
    terms = AnalysisTerms(
        marks=marks_in_hours(task.marks),
        clear_level=ClearLevel(task.clear_level_kind, task.clear_level_value),
        saturation_level_ug_m3=task.saturation_level_ug_m3,
        response_time_s=task.response_time_s,
        timing=task.timing,
        empty_room=task.kind == EMPTY_ROOM,
        of_logger=task.of_logger,
        lines=task.lines,
    )
    analysed = analyse_readings(readings, terms)
    at = datetime.now(UTC)
    results = {
        channel: result_values(decay, analysed.relative_humidity_pct, at) for channel, decay in analysed.decays.items()
    }
    notes = {channel: note_columns(decay.notes) for channel, decay in analysed.decays.items()}
    return WorkedTrial(task.trial_id, results, notes)


_CONDITIONS = ("relative_humidity", "temperature")


@lru_cache(maxsize=1)
def _reading_connection(url: str) -> Connection:
    """Connection of this process, opened once."""
    path = sqlite_file(url)
    if path is None:
        only_read = {"options": "-c default_transaction_read_only=on"}
        return create_engine(url, poolclass=NullPool, isolation_level="AUTOCOMMIT", connect_args=only_read).connect()

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True, isolation_level=None)
        connection.execute("PRAGMA query_only = ON")
        return connection

    return create_engine("sqlite://", creator=connect, poolclass=NullPool).connect()

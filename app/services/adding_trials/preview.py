"""Preview of a staged file: the numbers that confirming it will store. Nothing is stored here."""

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.compute.decay.result import ChannelDecay
from app.compute.signal.logger_timing import LoggerTiming
from app.compute.wording.notes import Note
from app.errors import InvalidValue
from app.reading_files.headers.channels import channel as channel_named
from app.reading_files.headers.channels import in_order
from app.services.adding_trials.add import start_of
from app.services.adding_trials.staged_results import StagedLog, keep_beside, kept_beside
from app.services.bench.definitions import NewLogger
from app.services.logs.readings import LogReadings
from app.services.logs.trial_fields import NewTrial, check_marks
from app.services.results.clean_air import derive_unsaved
from app.services.results.control_charts.upload_warnings import upload_warnings
from app.services.results.rows import SAME_WITHIN, is_same, size_of
from app.services.results.trial_results import analysis_terms, result_values
from app.storage.models.trials import ChannelResult, ResultNote

# Fields named if a result differs from the preview: column, label, unit.
_NAMED = (
    ("total_decay_per_h", "total decay", "1/h"),
    ("clean_air_delivery_rate_m3_per_h", "clean air delivery rate", "m³/h"),
    ("time_to_clear_min", "time to clear", "min"),
    ("standard_clearing_time_min", "time to 95 % reduction", "min"),
    ("clear_level", "clear level", ""),
)
# Row ids, times, and what a trial says of its logger to later ones: not shown as results.
_NO_RESULT = ("computed_at", "pool_id", "noise_evidence")

Results = dict[str, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class LogPreview:
    """Preview of a staged file.

    decays : analysis of each particle channel, with the marks given or found
    results : the columns to be stored for each channel; notes : of the analysis and of the derived results
    room_warnings : from the control chart of the room
    """

    log: StagedLog
    decays: dict[str, ChannelDecay]
    results: Results
    notes: dict[str, tuple[Note, ...]]
    room_warnings: tuple[str, ...]

    @property
    def digest(self) -> str:
        """Digest of the results: equal digests mean bit-identical numbers."""
        return _digest(self.results)


def preview_log(session: Session, log: StagedLog, trial: NewTrial, new_logger: NewLogger | None = None) -> LogPreview:
    """Analyses a staged file as this trial.

    trial : as far as known; room_id 0 means a room that is not on the bench yet
    new_logger : a logger that would be added with the trial
    Raises InvalidValue for marks that do not fit the log.
    """
    table = log.table
    check_marks(trial.marks, float(table.elapsed_s[-1]))
    terms = analysis_terms(
        session, trial.kind, trial.logger_id, trial.marks, started_at=trial.started_at or table.started_at
    )
    if new_logger is not None:
        terms = replace(
            terms,
            saturation_level_ug_m3=new_logger.saturation_level_ug_m3,
            response_time_s=new_logger.response_time_s,
            timing=LoggerTiming(new_logger.averaging_s, new_logger.time_stamp, new_logger.on_before_min),
        )
    analysed = log.analyse(LogReadings(table.elapsed_s, table.levels, table.units), terms)
    now = datetime.now(UTC)
    started_at = start_of(table, trial.started_at, now)
    derived = derive_unsaved(session, analysed, trial.kind, (trial.room_id, trial.smoke_source_id), started_at)
    results: Results = {}
    notes: dict[str, tuple[Note, ...]] = {}
    for name, decay in analysed.decays.items():
        values, further = derived[name]
        notes[name] = (*decay.notes, *further)
        results[name] = _result(result_values(decay, analysed.relative_humidity_pct, now) | values, notes[name])
    rates = {name: decay.fit.decay_rate for name, decay in analysed.decays.items() if decay.fit is not None}
    known = {name: rate for name in in_order(rates) if (rate := rates[name]) is not None}
    warnings = upload_warnings(session, trial, started_at, known)
    preview = LogPreview(log, analysed.decays, results, notes, warnings)
    keep_beside(log.area, log.upload, f"{preview.digest}.shown", _text(results).encode())
    return preview


def stored_results(session: Session, trial_id: int) -> Results:
    """The results of a stored trial in the shape of a preview's."""
    rows = session.scalars(
        select(ChannelResult)
        .where(ChannelResult.trial_id == trial_id)
        .options(selectinload(ChannelResult.notes))
        .order_by(ChannelResult.id)
        .execution_options(populate_existing=True)
    )
    columns = [column.name for column in ChannelResult.__table__.columns if column.name not in ("id", "trial_id")]
    return {
        row.channel: _result({name: getattr(row, name) for name in columns if name != "channel"}, row.notes)
        for row in rows
    }


def check_as_shown(session: Session, log: StagedLog, trial_id: int, shown: str) -> None:
    """Raises InvalidValue if the results of a trial just added differ from those shown by more than the arithmetic of
    another processor might: of two machines that serve one bench, one may show what the other stores.

    shown : digest of the preview that was shown; "" for one without results
    """
    stored = stored_results(session, trial_id)
    if _digest(stored) == shown:
        return
    kept = kept_beside(log.area, log.upload, f"{shown}.shown") if shown.isalnum() else None
    before: Results = json.loads(kept) if kept else {}
    if before and _count_as_same(before, stored):
        return
    named = _differences(before, stored) if before else []
    listed = f" ({'; '.join(named[:4])})" if named else ""
    raise InvalidValue(
        f"The results have changed since the preview{listed}, so nothing was saved. You changed a choice here, or the "
        "bench changed in the meantime. Check the results below, then store the trial.",
        field="shown",
    )


def _count_as_same(before: Results, after: Results) -> bool:
    return before.keys() == after.keys() and all(
        before[channel].keys() == of_channel.keys()
        and all(
            is_same(before[channel][name], value, SAME_WITHIN, size_of(name, of_channel))
            for name, value in of_channel.items()
        )
        for channel, of_channel in after.items()
    )


def _differences(before: Results, after: Results) -> list[str]:
    """Differences in the main results; a result that exists on one side only is a dash on the other."""
    found = []
    for channel in sorted(before.keys() | after.keys()):
        old, new = before.get(channel, {}), after.get(channel, {})
        for name, words, unit in _NAMED:
            if old.get(name) != new.get(name):
                change = f"{_number(old.get(name))} to {_number(new.get(name))} {unit}".rstrip()
                found.append(f"{channel_named(channel).label}, {words}: {change}")
    return found


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.6g}"


def _result(values: dict[str, Any], notes: Sequence[Note | ResultNote]) -> dict[str, Any]:
    result = {name: _plain(value) for name, value in values.items() if name not in _NO_RESULT}
    return result | {"notes": [[note.code, note.severity] for note in notes]}


def _plain(value: Any) -> float | str | None:
    """As the database returns it: a flag is 0 or 1, and a non-finite number is None."""
    if value is None or isinstance(value, str):
        return value
    return float(value) if math.isfinite(value) else None


def _text(results: Results) -> str:
    return json.dumps(results, sort_keys=True)


def _digest(results: Results) -> str:
    return hashlib.sha256(_text(results).encode()).hexdigest()[:32] if results else ""

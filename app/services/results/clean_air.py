"""Clean air results from stored decay rates, without fitting again: subtracts natural decay and multiplies by volume.
Every changed number is recorded with its cause.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import Select, bindparam, delete, insert, select, update
from sqlalchemy.orm import Session

from app.compute.clean_air.rate import Detection, clean_air_delivery_rate, detection, standard_clearing_time
from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Note
from app.services.logs.trial_fields import UNIT_RUNNING
from app.services.results.analyse_channels import AnalysedTrial
from app.services.results.natural_decay_pools import EmptyRoomRuns, PooledForTrial
from app.services.results.rows import is_same, note_columns, stored_degrees, stored_measured
from app.services.store.audit import record_change
from app.services.store.id_batches import in_batches
from app.storage.models.rooms_and_loggers import Room
from app.storage.models.trials import ChannelResult, ResultNote, Trial

# Notes of the analysis are before this position, notes of this file from it on.
DERIVED_NOTES_FROM = 1000
_RESULT = ChannelResult.__table__
DERIVED_COLUMNS = tuple(
    column.name
    for column in _RESULT.columns
    if column.name.startswith(("pool_id", "clean_air_delivery_rate", "standard_clearing_time"))
)


def derive_clean_air(
    session: Session,
    *,
    trial_ids: Iterable[int] | None = None,
    who: str = "",
    why: str = "",
    record: bool = True,
    new_trials: Collection[int] = (),
) -> set[int]:
    """Derives the clean air results of some trials, or of the whole bench; returns the trials that changed.

    record : False if the caller records the changes itself
    new_trials : trials just added: they have no earlier values, so no change is recorded
    """
    rows = _rows(session, trial_ids)
    runs = EmptyRoomRuns(session)
    old_notes = _derived_notes(session, [row.id for row in rows if row.trial_id not in new_trials])
    moved: set[int] = set()
    updates: list[dict[str, Any]] = []
    new_notes: list[dict[str, Any]] = []
    changed_notes: list[int] = []
    for row in rows:
        total = stored_measured(
            row.total_decay_per_h, row.total_decay_uncertainty_per_h, row.total_decay_degrees_of_freedom
        )
        volume = Measured(row.room_volume_m3, row.room_volume_uncertainty_m3)
        served = None
        if row.kind == UNIT_RUNNING:
            served = runs.serving(row.room_id, row.channel, row.started_at, row.relative_humidity_pct, row.start_level)
        values, notes = derived_values(total, served, volume)
        if any(not is_same(values[name], getattr(row, name)) for name in DERIVED_COLUMNS):
            updates.append({"of_result": row.id, **values})
            moved.add(row.trial_id)
            if record and row.trial_id not in new_trials:
                _record_move(session, row, values, who, why)
        if [(note.code, note.message) for note in notes] != old_notes.get(row.id, []):
            if row.id in old_notes:
                changed_notes.append(row.id)
            new_notes += [{"result_id": row.id, **columns} for columns in note_columns(notes, DERIVED_NOTES_FROM)]
    _write(session, updates, changed_notes, new_notes)
    return moved


def derive_unsaved(
    session: Session, analysed: AnalysedTrial, kind: str, room_id: int, started_at: datetime
) -> dict[str, tuple[dict[str, Any], list[Note]]]:
    """Derived columns and notes by channel, for an analysis that is not stored; nothing is written.

    room_id : a room that is not on the bench has no natural decay, and so no clean air delivery rate
    """
    room = session.get(Room, room_id)
    volume = Measured(room.room_volume_m3, room.room_volume_uncertainty_m3) if room else None
    runs = EmptyRoomRuns(session) if kind == UNIT_RUNNING else None
    humidity = analysed.relative_humidity_pct
    derived: dict[str, tuple[dict[str, Any], list[Note]]] = {}
    for channel, decay in analysed.decays.items():
        served = None
        if runs is not None:
            served = runs.serving(room_id, channel, started_at, humidity, decay.start_level, keep=False)
        derived[channel] = derived_values(decay.fit.decay_rate if decay.fit else None, served, volume)
    return derived


def derived_values(
    total: Measured | None, served: PooledForTrial | None, volume: Measured | None
) -> tuple[dict[str, Any], list[Note]]:
    """Columns derived from decay rate, natural decay and volume, and their notes.

    served : natural decay of this trial; None for an empty-room run, which has no clean air delivery rate
    """
    values: dict[str, Any] = dict.fromkeys(DERIVED_COLUMNS)
    notes: list[Note] = [] if served is None else list(served.choice.notes)
    clearing = standard_clearing_time(total) if total is not None else None
    if clearing is not None:
        values |= {
            "standard_clearing_time_min": clearing.value,
            "standard_clearing_time_uncertainty_min": clearing.uncertainty,
            "standard_clearing_time_low_95_min": clearing.low_95,
            "standard_clearing_time_high_95_min": clearing.high_95,
        }
    elif total is not None:
        notes.append(no_standard_time(total))
    if served is None or served.pooled is None or total is None or volume is None:
        return values, notes
    natural = served.pooled.on_one_day
    rate = clean_air_delivery_rate(total, natural, volume)
    values |= {
        "pool_id": served.pool_id,
        "clean_air_delivery_rate_m3_per_h": rate.value,
        "clean_air_delivery_rate_uncertainty": rate.uncertainty,
        "clean_air_delivery_rate_degrees_of_freedom": stored_degrees(rate.degrees_of_freedom),
        "clean_air_delivery_rate_low_95": rate.low_95,
        "clean_air_delivery_rate_high_95": rate.high_95,
    }
    limit = detection(total, natural, volume)
    if not limit.measurable:
        notes.append(no_measurable_cleaning(rate, limit))
    if served.choice.left_out:
        notes.append(_runs_left_out(served))
    return values, notes


def no_measurable_cleaning(rate: Measured, limit: Detection) -> Note:
    """Note on a rate that is not distinguishable from zero."""
    return Note(
        "no_measurable_cleaning",
        "care",
        f"No measurable cleaning: {rate.value:.1f} m³/h cannot be distinguished from zero; the decision threshold is "
        f"{limit.decision_threshold:.1f} m³/h. The rate is at most {limit.at_most:.1f} m³/h.",
        value=rate.value,
        limit=limit.decision_threshold,
        unit="m³/h",
    )


def no_standard_time(total: Measured) -> Note:
    return Note(
        "no_standard_clearing_time",
        "care",
        f"The decay rate of {total.value:.2f} per hour has an interval from {total.low_95:.2f} to "
        f"{total.high_95:.2f}, which includes zero: the time to 95 % reduction has no upper limit and is not given.",
        value=total.low_95,
        limit=0.0,
        unit="1/h",
    )


def _runs_left_out(served: PooledForTrial) -> Note:
    left_out = served.choice.left_out
    named = "; ".join(f"trial {run.run_id}: {run.reason}" for run in left_out[:3])
    more = f"; and {len(left_out) - 3} more" if len(left_out) > 3 else ""
    return Note(
        "natural_decay_runs_left_out",
        "fine",
        f"{len(served.choice.chosen)} empty-room runs were used and {len(left_out)} excluded ({named}{more}).",
        value=float(len(left_out)),
    )


def _rows(session: Session, trial_ids: Iterable[int] | None) -> Sequence[Any]:
    query = _rows_query()
    if trial_ids is None:
        return session.execute(query).all()
    return [row for batch in in_batches(trial_ids) for row in session.execute(query.where(Trial.id.in_(batch)))]


@cache
def _rows_query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it for one trial."""
    return (
        select(
            _RESULT.c.id,
            _RESULT.c.trial_id,
            _RESULT.c.channel,
            _RESULT.c.total_decay_per_h,
            _RESULT.c.total_decay_uncertainty_per_h,
            _RESULT.c.total_decay_degrees_of_freedom,
            _RESULT.c.relative_humidity_pct,
            _RESULT.c.start_level,
            *(_RESULT.c[name] for name in DERIVED_COLUMNS),
            Trial.kind,
            Trial.room_id,
            Trial.started_at,
            Room.room_volume_m3,
            Room.room_volume_uncertainty_m3,
        )
        .join(Trial, Trial.id == _RESULT.c.trial_id)
        .join(Room, Room.id == Trial.room_id)
        .where(Trial.trashed_at.is_(None))
        .order_by(_RESULT.c.id)
    )


def _derived_notes(session: Session, result_ids: Sequence[int]) -> dict[int, list[tuple[str, str]]]:
    found: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for batch in in_batches(result_ids):
        for result_id, code, message in session.execute(
            select(ResultNote.result_id, ResultNote.code, ResultNote.message)
            .where(
                ResultNote.position >= DERIVED_NOTES_FROM,
                ResultNote.result_id.in_(batch),
            )
            .order_by(ResultNote.result_id, ResultNote.position)
        ):
            found[result_id].append((code, message))
    return found


def _write(
    session: Session,
    updates: Sequence[dict[str, Any]],
    changed_notes: Sequence[int],
    new_notes: Sequence[dict[str, Any]],
) -> None:
    if updates:
        connection = session.connection()  # plain statements are faster than ORM objects
        connection.execute(update(ChannelResult).where(ChannelResult.id == bindparam("of_result")), updates)
        for loaded in session:
            if isinstance(loaded, ChannelResult):  # its row was changed by a plain statement
                session.expire(loaded)
    for batch in in_batches(changed_notes):
        session.execute(
            delete(ResultNote).where(
                ResultNote.position >= DERIVED_NOTES_FROM,
                ResultNote.result_id.in_(batch),
            )
        )
    if new_notes:
        session.connection().execute(insert(ResultNote), new_notes)


def _record_move(session: Session, row: Any, values: dict[str, Any], who: str, why: str) -> None:
    before = _as_text(row.clean_air_delivery_rate_m3_per_h, row.clean_air_delivery_rate_uncertainty)
    after = _as_text(values["clean_air_delivery_rate_m3_per_h"], values["clean_air_delivery_rate_uncertainty"])
    if before != after:
        record_change(
            session,
            who,
            "recomputed",
            "trial",
            row.trial_id,
            f"{row.channel} clean_air_delivery_rate_m3_per_h",
            before,
            after,
            why,
        )


def _as_text(value: float | None, uncertainty: float | None) -> str | None:
    return None if value is None else f"{value:.6g} ± {uncertainty or 0.0:.3g}"

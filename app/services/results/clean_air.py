"""Clean air results from stored decay rates, without fitting again: subtracts natural decay and multiplies by volume.
Every changed number is recorded with its cause.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import datetime
from functools import cache
from operator import itemgetter
from typing import Any

from sqlalchemy import Select, Update, bindparam, delete, select, update
from sqlalchemy.orm import Session

from app.compute.wording.notes import Note
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.results.analyse_channels import AnalysedTrial
from app.services.results.control_charts.check_unit_spread import CheckUnitSpreads
from app.services.results.control_charts.key import ChartKey
from app.services.results.control_charts.runs import aerosol_of, aerosol_of_run
from app.services.results.derived_values import DERIVED_COLUMNS, derived_values
from app.services.results.natural_decay_pools import EmptyRoomRuns, PooledForTrial, PoolRequest
from app.services.results.rows import note_columns, stored_columns
from app.services.store.audit import record_changes
from app.services.store.id_batches import in_batches
from app.storage.inserts import insert_into
from app.storage.many_rows import write_many
from app.storage.models.loggers import SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.trials import ChannelResult, ResultNote, Trial

_RESULT = ChannelResult.__table__
# Notes of the analysis are before this position, notes of this file from it on.
DERIVED_NOTES_FROM = 1000
_FIRST_DERIVED = 8  # place of the first of these columns in the rows of `_rows`
_rate_of = itemgetter(
    DERIVED_COLUMNS.index("clean_air_delivery_rate_m3_per_h"),
    DERIVED_COLUMNS.index("clean_air_delivery_rate_uncertainty"),
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
    old_notes = _derived_notes(session, [row.id for row in rows if row.trial_id not in new_trials])
    moved: set[int] = set()
    updates: list[tuple[Any, ...]] = []
    new_notes: list[dict[str, Any]] = []
    changed_notes: list[int] = []
    records: list[tuple[int, str, str | None, str | None]] = []
    for row, (values, notes) in zip(
        rows, _derived(EmptyRoomRuns(session), CheckUnitSpreads(session), rows), strict=True
    ):
        before = row[_FIRST_DERIVED : _FIRST_DERIVED + len(DERIVED_COLUMNS)]
        if values != before:
            updates.append((*values, row.id))
            moved.add(row.trial_id)
            if record and row.trial_id not in new_trials:
                records += _moved_rate(row, before, values)
        if [(note.code, note.message) for note in notes] != old_notes.get(row.id, []):
            if row.id in old_notes:
                changed_notes.append(row.id)
            new_notes += [{"result_id": row.id, **columns} for columns in note_columns(notes, DERIVED_NOTES_FROM)]
    _write(session, updates, changed_notes, new_notes)
    record_changes(session, who, "recomputed", "trial", records, why)
    return moved


def _derived(
    runs: EmptyRoomRuns, spreads: CheckUnitSpreads, rows: Sequence[Any]
) -> Iterator[tuple[tuple[Any, ...], list[Note]]]:
    """Derived columns and notes of each row, in their order."""
    if not rows:
        return iter(())
    running = [place for place, row in enumerate(rows) if row.kind == UNIT_RUNNING]
    requests = [
        PoolRequest(row.room_id, row.channel, row.aerosol, row.started_at, row.relative_humidity_pct, row.start_level)
        for row in (rows[place] for place in running)
    ]
    served = dict(zip(running, runs.serving(requests), strict=True))
    totals = stored_columns([row[3:6] for row in rows])
    volumes = stored_columns([(*row[-2:], None) for row in rows])
    check_unit = [spreads.of(ChartKey(row.room_id, row.channel, row.aerosol)) for row in rows]
    return derived_values(totals, [served.get(place) for place in range(len(rows))], volumes, check_unit)


def derive_unsaved(
    session: Session, analysed: AnalysedTrial, kind: str, place: tuple[int, int | None], started_at: datetime
) -> dict[str, tuple[dict[str, Any], list[Note]]]:
    """Derived columns and notes by channel, for an analysis that is not stored; nothing is written.

    place : room and smoke source; a room that is not on the bench has no natural decay, and so no clean air delivery
        rate
    """
    room_id, aerosol = place[0], aerosol_of(session, place[1])
    room = session.get(Room, room_id)
    volume = (room.room_volume_m3, room.room_volume_uncertainty_m3, None) if room else (None,) * 3
    served: Sequence[PooledForTrial | None] = [None] * len(analysed.decays)
    if kind == UNIT_RUNNING:
        humidity = analysed.relative_humidity_pct
        requests = [
            PoolRequest(room_id, channel, aerosol, started_at, humidity, decay.start_level)
            for channel, decay in analysed.decays.items()
        ]
        served = EmptyRoomRuns(session).serving(requests, keep=False)
    if not analysed.decays:
        return {}
    rates = [decay.fit.decay_rate if decay.fit else None for decay in analysed.decays.values()]
    totals = stored_columns(
        [(rate.value, rate.uncertainty, rate.degrees_of_freedom) if rate else (None,) * 3 for rate in rates]
    )
    spreads = CheckUnitSpreads(session)
    of_room = [spreads.of(ChartKey(room_id, channel, aerosol)) for channel in analysed.decays]
    found = derived_values(totals, served, stored_columns([volume] * len(rates)), of_room)
    return {
        channel: (dict(zip(DERIVED_COLUMNS, values, strict=True)), notes)
        for channel, (values, notes) in zip(analysed.decays, found, strict=True)
    }


def _rows(session: Session, trial_ids: Iterable[int] | None) -> Sequence[Any]:
    connection = session.connection()  # plain rows are read faster than ORM rows
    if trial_ids is None:
        return connection.execute(_rows_query()).all()
    some = _some_rows_query()
    return [row for batch in in_batches(trial_ids) for row in connection.execute(some, {"ids": batch})]


@cache
def _some_rows_query() -> Select[*tuple[Any, ...]]:
    return _rows_query().where(Trial.id.in_(bindparam("ids", expanding=True)))


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
            aerosol_of_run.label("aerosol"),
            Trial.started_at,
            Room.room_volume_m3,
            Room.room_volume_uncertainty_m3,
        )
        .join(Trial, Trial.id == _RESULT.c.trial_id)
        .join(Room, Room.id == Trial.room_id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
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
    updates: Sequence[tuple[Any, ...]],
    changed_notes: Sequence[int],
    new_notes: Sequence[dict[str, Any]],
) -> None:
    if updates:
        write_many(session.connection(), _update(), (*DERIVED_COLUMNS, "of_result"), updates)
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
        session.connection().execute(insert_into(ResultNote), new_notes)


@cache
def _update() -> Update:
    """Cached: compiling the statement takes longer than running it for one trial."""
    return update(ChannelResult).where(ChannelResult.id == bindparam("of_result"))


def _moved_rate(
    row: Any, before: tuple[Any, ...], after: tuple[Any, ...]
) -> list[tuple[int, str, str | None, str | None]]:
    texts = _as_text(*_rate_of(before)), _as_text(*_rate_of(after))
    field = f"{row.channel} clean_air_delivery_rate_m3_per_h"
    return [] if texts[0] == texts[1] else [(row.trial_id, field, *texts)]


def _as_text(value: float | None, uncertainty: float | None) -> str | None:
    return None if value is None else f"{value:.6g} ± {uncertainty or 0.0:.3g}"

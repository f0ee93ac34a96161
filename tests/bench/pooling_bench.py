"""Time to bring a bench of 10,000 trials up to date after each kind of change.

    python -m tests.bench.pooling_bench

A stored value is moved by a little, everything derived from it is updated, and nothing is kept. Seconds are printed and
not judged, because they depend on the machine: of the clock, and of the processor, which other work on the machine
disturbs less.
"""

import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.results.update_derived import rederive_room, update_all_derived_results, update_derived_results
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.rooms import Room
from app.storage.models.summaries import BenchRepeatability, SettingSummary
from app.storage.models.trials import ChannelResult, Trial
from app.web.process.gc_settings import freeze_startup_objects
from tests.bench.scale.large_bench import make_large_store

ROOM_OF_UNITS = 1  # all units of the large bench are tested there; every second empty-room run is in another room


@dataclass(frozen=True, slots=True)
class PoolingTime:
    """One kind of change: seconds of the clock and of the processor, and how many stored rows it moved."""

    change: str
    seconds: float
    processor_s: float
    results: int
    summaries: int


class _NothingKept(Exception):
    """Raised to roll the changes back."""


def pooling_times(store: Path) -> list[PoolingTime]:
    """Times on a store of 1,000 units and 10,000 trials."""
    freeze_startup_objects()  # as a server does
    engine = open_store(Settings(store.parent, database_url=f"sqlite:///{store}"))
    found: list[PoolingTime] = []
    try:
        with session_scope(engine) as session:
            update_all_derived_results(session, why="brings every pool and summary to this version")
        for name, change in _CHANGES.items():
            try:
                with session_scope(engine) as session:
                    run = change(session)
                    session.flush()
                    results, summaries = _stored(session, ChannelResult), _stored(session, SettingSummary)
                    begun, of_processor = time.perf_counter(), time.process_time()
                    run()
                    seconds, processor_s = time.perf_counter() - begun, time.process_time() - of_processor
                    moved = results ^ _stored(session, ChannelResult), summaries ^ _stored(session, SettingSummary)
                    found.append(PoolingTime(name, seconds, processor_s, len(moved[0]) // 2, len(moved[1]) // 2))
                    raise _NothingKept
            except _NothingKept:
                pass
    finally:
        engine.dispose()
    return found


def _stored(session: Session, model: type[ChannelResult] | type[SettingSummary]) -> set[tuple[object, ...]]:
    names = ("id", "clean_air_delivery_rate_low_95", "clean_air_delivery_rate_high_95", "time_to_clear_high_min")
    columns = [getattr(model, name) for name in names if hasattr(model, name)]
    return {tuple(row) for row in session.execute(select(*columns))}


def _trial_moved(session: Session, kind: str, room_id: int = ROOM_OF_UNITS) -> Callable[[], None]:
    trial_id = session.scalar(select(func.max(Trial.id)).where(Trial.kind == kind, Trial.room_id == room_id))
    assert trial_id is not None
    for row in session.scalars(select(ChannelResult).where(ChannelResult.trial_id == trial_id)):
        if row.total_decay_per_h is not None:
            row.total_decay_per_h *= 1.01
    return lambda: update_derived_results(session, [trial_id], why="measured")


def _spread_moved(session: Session) -> Callable[[], None]:
    """As if the summaries had been written with another spread between repeats."""
    for row in session.scalars(select(BenchRepeatability)):
        row.relative_sd *= 1.5
    session.execute(
        update(SettingSummary).values(
            clean_air_delivery_rate_high_95=SettingSummary.clean_air_delivery_rate_high_95 * 1.01,
            time_to_clear_high_min=SettingSummary.time_to_clear_high_min * 1.01,
        )
    )
    return _trial_moved(session, UNIT_RUNNING)


def _run_spread_moved(session: Session) -> Callable[[], None]:
    """The empty-room runs of the other room scatter more, so that every pool of this one moves."""
    runs = select(Trial.id).where(Trial.kind == EMPTY_ROOM, Trial.room_id != ROOM_OF_UNITS)
    for row in session.scalars(select(ChannelResult).where(ChannelResult.trial_id.in_(runs))):
        if row.total_decay_per_h is not None:
            row.total_decay_per_h *= 1.5 if row.trial_id // 100 % 2 else 1.0
    return lambda: update_derived_results(session, list(session.scalars(runs)), why="measured")


def _volume_moved(session: Session) -> Callable[[], None]:
    session.get_one(Room, ROOM_OF_UNITS).room_volume_m3 *= 1.01
    return lambda: rederive_room(session, ROOM_OF_UNITS, who="", why="measured again")


_CHANGES: dict[str, Callable[[Session], Callable[[], None]]] = {
    "one new trial": lambda session: _trial_moved(session, UNIT_RUNNING),
    "a new trial that moves the pooled spread": _spread_moved,
    "an empty-room run in another room": lambda session: _trial_moved(session, EMPTY_ROOM, 2),
    "an empty-room run in the room of the units": lambda session: _trial_moved(session, EMPTY_ROOM),
    "empty-room runs that move the spread between days": _run_spread_moved,
    "another volume of the room": _volume_moved,
}


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "large.sqlite3"
        made = make_large_store(store)
        print(f"bench of {made.trials:,} trials\n")
        print(f"{'after':52}{'s':>6}{'of processor':>14}{'results':>9}{'summaries':>11}")
        for one in pooling_times(store):
            print(f"{one.change:52}{one.seconds:6.2f}{one.processor_s:14.2f}{one.results:9d}{one.summaries:11d}")


if __name__ == "__main__":
    main()

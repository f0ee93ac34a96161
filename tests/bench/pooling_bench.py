"""Time to bring a bench of 10,000 trials up to date after one new trial, and after one new empty-room run.

    python -m tests.bench.pooling_bench

A stored trial is moved by a little, everything derived from it is updated, and nothing is kept. Seconds are printed and
not judged, because they depend on the machine.
"""

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.services.logs.trial_fields import EMPTY_ROOM, UNIT_RUNNING
from app.services.results.update_derived import update_derived_results
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.trials import BenchRepeatability, ChannelResult, SettingSummary, Trial
from tests.bench.scale.large_bench import make_large_store


@dataclass(frozen=True, slots=True)
class PoolingTimes:
    """Seconds, and the number of trials on the bench; summaries : written after the change."""

    trials: int
    after_a_trial_s: float
    after_a_moved_spread_s: float
    summaries: int
    after_an_empty_room_run_s: float


class _NothingKept(Exception):
    """Raised to roll the changes back."""


def pooling_times(store: Path) -> PoolingTimes:
    """Times on a store of 1,000 units and 10,000 trials."""
    engine = open_store(Settings(store.parent, database_url=f"sqlite:///{store}"))
    found: list[float] = []
    try:
        with session_scope(engine) as session:
            _move(session, UNIT_RUNNING, 1.0)  # brings every pool and summary to this version
            trials = session.scalar(select(func.count()).select_from(Trial)) or 0
            summaries = session.scalar(select(func.count()).select_from(SettingSummary)) or 0
        for kind, spread_moves in ((UNIT_RUNNING, False), (UNIT_RUNNING, True), (EMPTY_ROOM, False)):
            try:
                with session_scope(engine) as session:
                    if spread_moves:  # a stored figure that is not today's: every summary is written again
                        for row in session.scalars(select(BenchRepeatability)):
                            row.relative_sd *= 1.5
                    begun = time.perf_counter()
                    _move(session, kind, 1.01)
                    found.append(time.perf_counter() - begun)
                    raise _NothingKept
            except _NothingKept:
                pass
    finally:
        engine.dispose()
    return PoolingTimes(trials, found[0], found[1], summaries, found[2])


def _move(session: Session, kind: str, factor: float) -> None:
    """Moves the rates of the newest trial of a kind and updates what follows from it."""
    trial_id = session.scalar(select(func.max(Trial.id)).where(Trial.kind == kind))
    assert trial_id is not None
    for row in session.scalars(select(ChannelResult).where(ChannelResult.trial_id == trial_id)):
        if row.total_decay_per_h is not None:
            row.total_decay_per_h *= factor
    update_derived_results(session, [trial_id], why="measured")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "large.sqlite3"
        make_large_store(store)
        times = pooling_times(store)
    print(f"bench of {times.trials:,} trials")
    print(f"after one new trial: {times.after_a_trial_s:.2f} s")
    print(
        f"the same where the pooled spread moves ({times.summaries:,} summaries): {times.after_a_moved_spread_s:.2f} s"
    )
    print(f"after one new empty-room run: {times.after_an_empty_room_run_s:.2f} s")


if __name__ == "__main__":
    main()

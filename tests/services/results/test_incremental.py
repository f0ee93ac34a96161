"""Results updated one change at a time equal those computed at once, to the last digit and in any order."""

from pathlib import Path

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.services.results.natural_decay_pools import _present_pools
from app.services.results.update_derived import update_all_derived_results, update_derived_results
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.summaries import BenchRepeatability, SettingSummary
from app.storage.models.trials import ChannelResult, ResultNote, Trial
from tests.bench.scale.large_bench import make_large_store
from tests.conftest import NOW

CHANGED = (3, 51, 77, 101, 118)  # of which 51 and 101 are empty-room runs, in two rooms


def derived(session: Session) -> dict[str, object]:
    """Everything that is derived from trials, without the ids of its rows and the times of writing."""
    session.expire_all()
    pools = _present_pools(session)
    name_of = {pool_id: key for key, (pool_id, _, _) in pools.items()}

    def rows(model, omitted):
        names = [c.name for c in model.__table__.columns if c.name not in {*omitted, "id", "pool_id", "computed_at"}]
        columns = [getattr(model, name) for name in names]
        with_pool = [*columns, model.pool_id] if hasattr(model, "pool_id") else columns
        found = session.execute(select(*with_pool)).all()
        if hasattr(model, "pool_id"):
            return {(*row[:-1], name_of.get(row[-1])) for row in found}
        return {tuple(row) for row in found}

    notes = select(ChannelResult.trial_id, ChannelResult.channel, ResultNote.position, ResultNote.message)
    return {
        "results": rows(ChannelResult, ()),
        "notes": {tuple(row) for row in session.execute(notes.join(ResultNote))},
        "pools": {key: (values, tuple(sorted(weights.items()))) for key, (_, values, weights) in pools.items()},
        "summaries": rows(SettingSummary, ()),
        "spread": rows(BenchRepeatability, ()),
    }


def test_updated_trial_by_trial_in_any_order_the_bench_is_as_computed_at_once(tmp_path: Path):
    make_large_store(tmp_path / "bench.sqlite3", units=4, trials=120)
    engine = open_store(Settings(tmp_path, database_url=f"sqlite:///{tmp_path / 'bench.sqlite3'}"))
    try:
        with session_scope(engine) as session:
            update_all_derived_results(session, why="computed at once")
            at_once = derived(session)
            for order in (CHANGED, CHANGED[::-1]):
                session.execute(update(Trial).where(Trial.id.in_(CHANGED)).values(trashed_at=NOW))
                update_all_derived_results(session, why="without some trials")
                assert derived(session)["pools"] != at_once["pools"]
                for trial_id in order:
                    session.get_one(Trial, trial_id).trashed_at = None
                    update_derived_results(session, [trial_id], why="one more")
                updated = derived(session)
                for name, part in at_once.items():
                    assert updated[name] == part, name
    finally:
        engine.dispose()

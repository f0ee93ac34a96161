"""What the trials of a setting share is read again for the units that changed, and for no others."""

import shutil
from collections.abc import Collection
from pathlib import Path

from sqlalchemy import select

from app.services.adding_trials.plans.settings import SharedOfSetting, shared_by_unit
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.services.store.open import open_store
from app.services.trials.marks import exclude_trial
from app.services.units.entry import change_unit
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.trials import Trial
from tests.conftest import sqlite_only

WHERE = ("pm2_5", "smoke", 1)


@sqlite_only
def test_only_changed_units_are_read_again(demo_template: Path, tmp_path: Path):
    shutil.copyfile(demo_template, tmp_path / "bench.sqlite")
    store = open_store(Settings(tmp_path))
    asked: list[set[int] | None] = []

    def counted(
        snapshot: BenchSnapshot, where: tuple[str, str, int], unit_ids: Collection[int] | None
    ) -> dict[int, dict[int, SharedOfSetting]]:
        asked.append(None if unit_ids is None else set(unit_ids))
        return shared_by_unit(snapshot, where, unit_ids)

    def shared() -> dict[int, dict[int, SharedOfSetting]]:
        with session_scope(store, writes=False) as session:
            return dict(current_snapshot(session).by_unit(counted, WHERE))

    before = shared()
    unit_id, setting_id = next((unit, setting) for unit, own in before.items() for setting in own)
    with session_scope(store) as session:
        change_unit(session, unit_id, {"notes": "on loan"})
    assert shared() == before
    assert asked == [None, {unit_id}]
    with session_scope(store) as session:
        query = select(Trial.id).where(Trial.setting_id == setting_id, Trial.room_id == WHERE[2])
        exclude_trial(session, session.scalars(query.order_by(Trial.id)).first() or 0, who="Ann", why="door open")
    after = shared()
    with session_scope(store) as session:
        assert after == shared_by_unit(current_snapshot(session), WHERE, None) != before
    store.dispose()

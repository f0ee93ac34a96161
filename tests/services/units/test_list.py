"""The list of units counts what stands on the bench, and only that."""

from sqlalchemy import Engine, update

from app.services.adding_trials.add import add_trial
from app.services.logs.trial_fields import NewTrial
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.trials.trash import trash_trial
from app.services.units.list import list_units
from app.storage.engine import session_scope
from app.storage.models.units_under_test import UnitUnderTest
from tests.conftest import NOW, SmallBench, decay_log


def test_trials_in_the_trash_and_of_the_empty_room_do_not_count(store: Engine, small_bench: SmallBench):
    running = NewTrial(
        kind=UNIT_RUNNING,
        unit_under_test_id=small_bench.unit_id,
        setting_id=small_bench.high_setting_id,
        room_id=small_bench.room_id,
    )
    with session_scope(store) as session:
        first, second = (
            add_trial(session, decay_log(6.0, seed=number, minutes=40), f"run_{number}.csv", running)
            for number in range(2)
        )
        empty = NewTrial(kind=EMPTY_ROOM, room_id=small_bench.room_id)
        add_trial(session, decay_log(0.5, seed=3, minutes=40), "empty.csv", empty)
    with session_scope(store, writes=False) as session:
        (unit,) = list_units(current_snapshot(session)).units
        assert (unit.trials, unit.last_trial_on, list_units(current_snapshot(session)).tested) == (2, NOW.date(), 1)
    for trial_id, left in ((first, 1), (second, 0)):
        with session_scope(store) as session:
            trash_trial(session, trial_id, why="a wrong room")
        with session_scope(store, writes=False) as session:
            (unit,) = list_units(current_snapshot(session)).units
            assert (unit.trials, list_units(current_snapshot(session)).tested) == (left, min(left, 1))
            assert (unit.last_trial_on is None) == (left == 0)


def test_units_stand_by_maker_and_model_capitals_aside(store: Engine):
    with session_scope(store) as session:
        session.add_all(
            UnitUnderTest(maker=maker, model=model, kind="other", created_at=NOW)
            for maker, model in (("birch", "b"), ("Birch", "A"), ("Alder", "Z"), ("alder", "É"))
        )
    with session_scope(store, writes=False) as session:
        assert [unit.model for unit in list_units(current_snapshot(session)).units] == ["Z", "É", "A", "b"]
        assert [unit.model for unit in list_units(current_snapshot(session), search="é ALDER").units] == ["É"]
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.model == "Z").values(maker="Cedar"))
    with session_scope(store, writes=False) as session:
        assert [unit.model for unit in list_units(current_snapshot(session), limit=2, offset=2).units] == ["b", "Z"]

"""Analysing the whole bench again: what would move is listed first, and stored only when accepted."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import Engine, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.errors import InvalidValue
from app.services.adding_trials.add import add_trial
from app.services.logs.trial_fields import TrialMarks
from app.services.results.recompute import accept_recompute, plan_recompute
from app.services.results.recompute_worker import _reading_connection
from app.services.store.audit import changes_of
from app.services.trials.marks import change_marks
from app.storage.engine import session_scope
from app.storage.models.bench import Change
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, ResultNote, Trial
from tests.conftest import NOW, SmallBench, decay_log
from tests.services.adding_trials.test_add import empty, running


@pytest.fixture(autouse=True)
def _own_connection_of_the_worker() -> None:
    """A worker keeps its connection by address, and a database server lends one address to several tests."""
    _reading_connection.cache_clear()


@pytest.fixture
def filled(store: Engine, small_bench: SmallBench) -> Engine:
    with session_scope(store) as session:
        # without a logger there is no noise to learn; tests/services/logs/test_logger_noise.py has one
        add_trial(
            session, decay_log(0.5, minutes=180, seed=5), "empty.csv", replace(empty(small_bench), logger_id=None)
        )
        for number, rate in enumerate((3.0, 6.0), start=2):
            log = decay_log(rate, seed=number, started_at=NOW + timedelta(days=number))
            add_trial(session, log, f"{number}.csv", replace(running(small_bench), logger_id=None))
    return store


def _as_if_by_an_older_method(session: Session) -> None:
    """The stored results as an earlier version might have left them: a rate too low, a note that is gone by now."""
    session.execute(
        text(
            "UPDATE channel_results SET total_decay_per_h = total_decay_per_h * 0.9, method_version = '0.9' "
            "WHERE channel = 'pm2_5' AND trial_id = 2"
        )
    )
    row = session.scalars(
        select(ChannelResult).where(ChannelResult.channel == "pm2_5", ChannelResult.trial_id == 2)
    ).one()
    session.add(ResultNote(result_id=row.id, position=999, code="old", severity="care", message="said by an older one"))


def _rate(engine: Engine, trial_id: int = 2) -> float:
    with session_scope(engine, writes=False) as session:
        return session.scalars(
            select(ChannelResult.total_decay_per_h).where(
                ChannelResult.trial_id == trial_id, ChannelResult.channel == "pm2_5"
            )
        ).one()


def test_a_bench_of_the_same_method_does_not_move(filled: Engine):
    said = []
    plan = plan_recompute(filled, lambda *step: said.append(step))
    assert plan.differences == ()
    assert plan.trials == 3
    assert said[-1] == (3, 3, "Re-analysing trials")


def test_what_another_processor_might_change_is_counted_apart(filled: Engine):
    plans = []
    for factor in (1.00005, 1.001):
        with session_scope(filled) as session:
            row = session.scalars(
                select(ChannelResult).where(ChannelResult.trial_id == 2, ChannelResult.channel == "pm2_5")
            ).one()
            row.total_decay_per_h *= factor
        plans.append(plan_recompute(filled))
    slight, clear = plans
    assert (slight.differences, slight.slight) == ((), 1)
    assert [(one.trial_id, one.field) for one in clear.differences] == [(2, "total_decay_per_h")]
    assert clear.slight == 0


def test_what_would_move_is_listed_and_not_stored(filled: Engine):
    right = _rate(filled)
    with session_scope(filled) as session:
        _as_if_by_an_older_method(session)
    plan = plan_recompute(filled)
    assert _rate(filled) == pytest.approx(0.9 * right)
    moved = {(d.trial_id, d.channel, d.field): d for d in plan.differences}
    rate = moved[2, "pm2_5", "total_decay_per_h"]
    assert (rate.before, rate.after) == (pytest.approx(0.9 * right), pytest.approx(right))
    assert rate.share == pytest.approx(1 / 9, rel=1e-6)
    assert {key[0] for key in moved} == {2}  # nothing else moves
    with session_scope(filled, writes=False) as session:
        assert session.scalar(select(Change.id).where(Change.action == "recomputed")) is None


def test_an_accepted_re_analysis_is_stored_with_a_record_of_each_move(filled: Engine):
    right = _rate(filled)
    with session_scope(filled) as session:
        ids = session.scalars(select(ChannelResult.id).order_by(ChannelResult.id)).all()
        _as_if_by_an_older_method(session)
    plan = plan_recompute(filled)
    with session_scope(filled) as session:
        assert accept_recompute(session, plan, who="Ann", why="a better window") == len(plan.differences)
    assert _rate(filled) == pytest.approx(right, rel=1e-12)
    with session_scope(filled) as session:
        assert session.scalars(select(ChannelResult.id).order_by(ChannelResult.id)).all() == ids
        assert set(session.scalars(select(ChannelResult.method_version))) == {METHOD_VERSION}
        assert session.scalar(select(ResultNote.code).where(ResultNote.code == "old")) is None
        recorded = {c.field: c for c in changes_of(session, "trial", 2)}
        move = recorded["pm2_5 total_decay_per_h"]
        assert (move.who, move.action, move.why) == ("Ann", "recomputed", "a better window")
        assert float(move.after) == pytest.approx(right, rel=1e-5)
        assert session.scalars(select(SettingSummary.trials)).all() == [2, 2, 2]
    again = plan_recompute(filled)
    assert (again.differences, again.new_of_loggers) == ((), 0)


def test_a_plan_made_before_a_change_is_refused(filled: Engine):
    plan = plan_recompute(filled)
    with session_scope(filled) as session:
        change_marks(session, 2, TrialMarks(end_s=4000))
    with session_scope(filled) as session, pytest.raises(InvalidValue) as refused:
        accept_recompute(session, plan)
    assert refused.value.message == (
        "A trial has changed since the re-analysis, so its list of differences is out of date. Run it again."
    )


def test_several_processes_find_what_one_finds(filled: Engine, small_bench: SmallBench):
    with session_scope(filled) as session:
        for number in range(10, 16):
            add_trial(session, decay_log(4.0, seed=number), f"{number}.csv", running(small_bench))
        _as_if_by_an_older_method(session)
    alone, together = plan_recompute(filled, workers=1), plan_recompute(filled, workers=2)
    assert len(together.tasks) >= 8  # enough for processes to be started
    assert together.differences == alone.differences
    assert [trial.trial_id for trial in together.worked] == [trial.trial_id for trial in alone.worked]


def test_only_the_trials_named_are_analysed(filled: Engine):
    assert plan_recompute(filled, trial_ids=[3]).trials == 1


def test_a_trial_in_the_trash_is_left_alone(filled: Engine):
    with session_scope(filled) as session:
        session.get_one(Trial, 2).trashed_at = NOW
    assert plan_recompute(filled).trials == 2


def test_the_connection_of_a_worker_cannot_write(filled: Engine):
    connection = _reading_connection(filled.url.render_as_string(hide_password=False))
    with pytest.raises(DBAPIError, match=r"attempt to write a readonly database|in a read-only transaction"):
        connection.execute(text("DELETE FROM trials"))
    connection.close()
    _reading_connection.cache_clear()

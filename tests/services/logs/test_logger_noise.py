"""The noise of a logger is learned from its other trials, and each result says from how many."""

from datetime import timedelta

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.compute.signal.logger_noise import GENERIC, MOST_TRIALS
from app.services.adding_trials.add import add_trial
from app.services.logs.logger_noise import BenchEvidence, bench_evidence
from app.services.results.recompute import accept_recompute, plan_recompute
from app.services.results.recompute_worker import _reading_connection
from app.services.results.trial_results import analyse_stored_trial, get_trial
from app.storage.engine import session_scope
from app.storage.models.trials import ChannelResult, Trial
from tests.conftest import NOW, SmallBench, decay_log
from tests.services.adding_trials.test_add import running


@pytest.fixture
def filled(store: Engine, small_bench: SmallBench) -> Engine:
    _reading_connection.cache_clear()
    with session_scope(store) as session:
        for number in range(1, 4):
            log = decay_log(4.0, seed=number, started_at=NOW + timedelta(days=number))
            add_trial(session, log, f"{number}.csv", running(small_bench))
    return store


def _stored(session: Session) -> list[tuple]:
    columns = ("noise_prior_trials", "noise_prior", "noise_evidence", "total_decay_uncertainty_per_h")
    rows = session.execute(
        select(*(getattr(ChannelResult, name) for name in columns))
        .where(ChannelResult.channel == "pm2_5")
        .order_by(ChannelResult.trial_id)
    )
    return [tuple(row) for row in rows]


def test_the_order_of_adding_is_of_no_matter_until_the_bench_has_learned(filled: Engine, small_bench: SmallBench):
    with session_scope(filled) as session:
        assert [row[:2] for row in _stored(session)] == [(0, None)] * 3
        assert all(row[2] for row in _stored(session))
    plan = plan_recompute(filled)
    with session_scope(filled) as session:
        accept_recompute(session, plan)
        log = decay_log(4.0, seed=4, started_at=NOW + timedelta(days=4))
        add_trial(session, log, "4.csv", running(small_bench))
        assert [row[0] for row in _stored(session)] == [2, 2, 2, 3]


def test_a_re_analysis_learns_from_all_other_trials_and_then_moves_nothing_more(filled: Engine):
    plan = plan_recompute(filled)
    assert {each.trial_id for each in plan.differences} == {1, 2, 3}
    with session_scope(filled) as session:
        before = _stored(session)
        accept_recompute(session, plan)
    with session_scope(filled) as session:
        after = _stored(session)
    assert [row[0] for row in after] == [2, 2, 2]
    assert [row[2] for row in after] == [row[2] for row in before]  # does not depend on what is known
    assert plan_recompute(filled).differences == ()


def test_results_of_an_older_method_teach_what_they_would_with_this_one(filled: Engine):
    fresh = plan_recompute(filled)
    with session_scope(filled) as session:
        for row in session.scalars(select(ChannelResult)):
            row.method_version, row.noise_evidence, row.noise_prior = "2.1", None, None
    again = plan_recompute(filled)
    assert [trial.results["pm2_5"]["noise_prior"] for trial in again.worked] == [
        trial.results["pm2_5"]["noise_prior"] for trial in fresh.worked
    ]


def test_a_trial_learns_nothing_from_itself_nor_from_excluded_ones(filled: Engine):
    plan = plan_recompute(filled)
    with session_scope(filled) as session:
        accept_recompute(session, plan)
        trial = get_trial(session, 2)
        assert analyse_stored_trial(session, trial).decays["pm2_5"].of_logger.trials == 2
        session.get_one(Trial, 3).excluded_at, session.get_one(Trial, 3).excluded_why = NOW, "door"
        session.flush()
        assert analyse_stored_trial(session, trial).decays["pm2_5"].of_logger.trials == 1
        assert bench_evidence(session).of_logger(None, 2) == {}


def test_of_many_trials_the_nearest_count():
    evidence = BenchEvidence()
    kinds = len(GENERIC.shares)
    for trial in range(100):
        evidence.add(1, "pm2_5", trial, tuple(0.0 if kind == trial // 50 else -20.0 for kind in range(kinds)))
    first, last = (evidence.of_logger(1, trial)["pm2_5"] for trial in (3, 98))
    assert first.trials == last.trials == MOST_TRIALS
    assert first.shares[0] > 0.9
    assert last.shares[1] > 0.9

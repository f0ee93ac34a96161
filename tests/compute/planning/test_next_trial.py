"""The next trial for the order: what one trial is expected to put right, by simulation."""

import numpy as np
import pytest

from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.planning.next_trial import RankedSetting, certain_pairs, plan_order, wrong_order, wrong_order_after
from app.compute.statistics.measured import Measured

ROOM = Measured(30.0, 0.3)


def setting(key: int, rate: float, uncertainty: float, *, trials: int = 1, pool: int = 1) -> RankedSetting:
    natural = Measured(0.5, 0.2)
    return RankedSetting(key, SettingInRoom(Measured(rate, uncertainty), natural, pool, ROOM, 1), trials)


def test_what_a_narrower_interval_puts_right_is_what_simulation_shows():
    random = np.random.default_rng(3)
    d, u, narrower = 0.3, 0.5, 0.3
    later = random.normal(d, np.sqrt(u**2 - narrower**2), 200_000)
    simulated = wrong_order(later, np.full_like(later, narrower)).mean()
    found = wrong_order_after(np.array([d]), np.array([u]), np.array([narrower]))[0]
    assert found == pytest.approx(simulated, abs=4e-3)
    assert found < wrong_order(np.array([d]), np.array([u]))[0]


def test_the_unit_between_two_near_ties_comes_first():
    bench = [
        setting(1, 9.0, 0.2),
        setting(2, 6.05, 0.2),
        setting(3, 6.0, 0.3),
        setting(4, 5.95, 0.2),
        setting(5, 2.0, 0.2),
    ]
    plan = plan_order(bench, 3)
    assert plan.gains[0][0] == 3
    assert {key for key, _ in plan.gains[-2:]} == {1, 5}
    assert [step.wrong_pairs for step in plan.steps] == sorted((s.wrong_pairs for s in plan.steps), reverse=True)
    assert plan.steps[0].wrong_pairs == pytest.approx(plan.wrong_now - plan.gains[0][1])


def test_a_settled_order_needs_no_trial():
    plan = plan_order([setting(n, 9.0 - 2 * n, 0.1) for n in range(4)], 2)
    assert certain_pairs(plan)
    assert plan.wrong_now < 1e-6


def test_an_empty_room_run_helps_only_units_of_different_weeks():
    alike = [setting(1, 6.0, 0.1), setting(2, 5.9, 0.1)]
    apart = [setting(1, 6.0, 0.1), setting(2, 5.9, 0.1, pool=2)]
    half = dict.fromkeys((1, 2), 0.5)
    assert plan_order(alike, 1, half.__getitem__).empty_run_gain == pytest.approx(0.0, abs=1e-12)
    assert plan_order(apart, 1, half.__getitem__).empty_run_gain > 0.01


def test_one_unit_has_no_order():
    plan = plan_order([setting(1, 5.0, 0.2)], 3)
    assert (plan.wrong_now, plan.steps, plan.gains) == (0.0, (), ((1, 0.0),))


def test_a_thousand_units_are_planned_by_their_neighbours():
    random = np.random.default_rng(9)
    bench = [setting(n, float(rate), 0.2) for n, rate in enumerate(random.uniform(1.0, 9.0, 1000))]
    plan = plan_order(bench, 5)
    assert len(plan.gains) == 1000
    assert plan.steps[-1].wrong_pairs < plan.wrong_now

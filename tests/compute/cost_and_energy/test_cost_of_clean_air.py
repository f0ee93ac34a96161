import math

import pytest

from app.compute.cost_and_energy.cost_of_clean_air import cost_per_1000_m3_of_clean_air
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, running_cost
from app.compute.statistics.measured import Measured


def cost(hours=24.0, watts=50.0, uncertainty=0.0):
    unit = OwnedUnit("a", (RunningPart(hours, watts, uncertainty),), 0.0, consumables=())
    return running_cost(unit, CostAssumptions(price_per_kwh=0.16))


def test_hours_cancel_when_only_energy_costs():
    rate = Measured(200.0, 10.0)
    at_8_h, at_24_h = (cost_per_1000_m3_of_clean_air(cost(hours), rate) for hours in (8.0, 24.0))
    assert at_8_h.value == pytest.approx(at_24_h.value)
    assert at_24_h.value == pytest.approx(1000 * 0.05 * 0.16 / 200)


def test_relative_uncertainties_join_in_quadrature():
    found = cost_per_1000_m3_of_clean_air(cost(uncertainty=2.0), Measured(200.0, 6.0))
    assert found.uncertainty / found.value == pytest.approx(math.hypot(0.04, 0.03))


def test_degrees_of_freedom_follow_the_rate():
    found = cost_per_1000_m3_of_clean_air(cost(), Measured(200.0, 6.0, degrees_of_freedom=4))
    assert found.degrees_of_freedom == pytest.approx(4.0)


def test_free_energy_costs_nothing():
    assert cost_per_1000_m3_of_clean_air(cost(watts=0.0), Measured(200.0, 6.0)).value == 0.0


def test_a_rate_that_may_be_zero_gives_no_cost():
    with pytest.raises(
        ValueError,
        match=r"rate is 5.0 m³/h with an interval from -4.8; it cannot be "
        r"distinguished from zero",
    ):
        cost_per_1000_m3_of_clean_air(cost(), Measured(5.0, 5.0))


def test_a_unit_that_never_runs_gives_no_cost():
    with pytest.raises(ValueError, match="unit runs 0 h a year; a cost of clean air needs running hours"):
        cost_per_1000_m3_of_clean_air(cost(hours=0.0), Measured(200.0, 5.0))

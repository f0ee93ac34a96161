"""Energy and cost of running against worked figures. Standing: recomputed from power × hours × price; the prices are
only inputs, and no publication claims these figures."""

import pytest

from app.compute.cost_and_energy.energy_use import RunningPart, energy_use
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, running_cost

# power [W], hours per year [h], price [US cents per kWh], energy [kWh], cost [USD]
EXAMPLES = [
    (12.5, 8760, 16.0, 109.5, 17.52),
    (50, 5840, 16.0, 292.0, 46.72),
    (50, 8760, 16.0, 438.0, 70.08),
    (80, 8760, 15.0, 700.8, 105.12),
    (0.5, 2920, 16.0, 1.46, 0.2336),
]


@pytest.mark.parametrize(("power_w", "hours", "us_cents", "energy_kwh", "cost_usd"), EXAMPLES)
def test_worked_examples_of_energy_and_cost(power_w, hours, us_cents, energy_kwh, cost_usd):
    unit = OwnedUnit("unit", (RunningPart(hours / 365, power_w),), consumables=())
    cost = running_cost(unit, CostAssumptions(price_per_kwh=us_cents / 100, unplugged_when_off=True))
    assert cost.energy.energy_kwh_per_year == pytest.approx(energy_kwh, abs=1e-9)
    assert cost.total_per_year == pytest.approx(cost_usd, abs=1e-9)


def test_12_5_w_for_a_year_is_109_5_kwh():
    assert energy_use((RunningPart(24.0, 12.5),)).energy_kwh_per_year == 109.5

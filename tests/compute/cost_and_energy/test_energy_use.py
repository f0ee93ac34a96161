import pytest

from app.compute.cost_and_energy.energy_use import RunningPart, energy_use


def test_settings_add_up_each_with_its_hours():
    use = energy_use((RunningPart(8.0, 20.0), RunningPart(4.0, 60.0)), days_per_year=100, unplugged_when_off=True)
    assert use.energy_kwh_per_year == pytest.approx(0.02 * 800 + 0.06 * 400)
    assert use.running_hours_per_year == 1200
    assert not use.at_least


def test_standby_fills_the_rest_of_the_year():
    use = energy_use((RunningPart(16.0, 50.0),), standby_power_w=0.5)
    assert use.standby_kwh_per_year == pytest.approx(0.5 * 2920 / 1000)


def test_a_unit_that_runs_all_year_misses_no_standby():
    assert energy_use((RunningPart(24.0, 50.0),)).missing == ()


def test_a_missing_power_is_named_and_makes_the_energy_a_lower_bound():
    use = energy_use((RunningPart(8.0, None, setting="night"), RunningPart(4.0, 60.0)), standby_power_w=1.0)
    assert use.at_least
    assert use.missing == ("The power at night was not measured, so its energy is not included.",)
    assert use.running_kwh_per_year == pytest.approx(0.06 * 4 * 365)


def test_a_missing_standby_power_is_named_with_its_hours():
    use = energy_use((RunningPart(16.0, 50.0),))
    assert use.missing == ("The standby power was not measured, so 2,920 h of standby are not included.",)


def test_the_uncertainty_joins_powers_in_quadrature():
    use = energy_use((RunningPart(12.0, 10.0, 0.3), RunningPart(12.0, 40.0, 0.4)))
    assert use.uncertainty_kwh_per_year == pytest.approx(0.5 * 12 * 365 / 1000)


@pytest.mark.parametrize("hours", [(20.0, 5.0), (-1.0, 2.0), (float("nan"),)])
def test_hours_outside_a_day_are_refused(hours):
    with pytest.raises(ValueError, match=r"add up to .*at most 24 h"):
        energy_use(tuple(RunningPart(h, 10.0) for h in hours))


@pytest.mark.parametrize("days", [-1.0, 367.0])
def test_days_outside_a_year_are_refused(days):
    with pytest.raises(ValueError, match="must be between 0 and 366"):
        energy_use((RunningPart(1.0, 10.0),), days_per_year=days)


def test_a_power_below_zero_is_refused():
    with pytest.raises(ValueError, match=r"The powers are \[-3.0, None\] W; each must be zero or above"):
        energy_use((RunningPart(1.0, -3.0),))

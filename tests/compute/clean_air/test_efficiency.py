import math

import pytest

from app.compute.clean_air.conversions import from_cubic_feet_per_minute
from app.compute.clean_air.efficiency import clean_air_per_watt, federal_energy
from app.compute.statistics.measured import Measured


def federal(rate_cfm, active_w=50.0, standby_w=0.0):
    return federal_energy(
        from_cubic_feet_per_minute(rate_cfm), from_cubic_feet_per_minute(rate_cfm), active_w, standby_w
    )


def test_without_standby_the_factor_is_the_rate_over_the_watts():
    assert federal(120.0, 60.0).integrated_energy_factor_cfm_per_w == pytest.approx(2.0)


def test_standby_lowers_the_factor():
    assert federal(120.0, 60.0, 3.0).integrated_energy_factor_cfm_per_w < 2.0


@pytest.mark.parametrize(("rate_cfm", "product_class"), [(99.9, 1), (100.01, 2), (150.01, 3), (599.0, 3)])
def test_the_class_follows_the_rate_and_has_two_tiers(rate_cfm, product_class):
    minima = federal(rate_cfm).minima
    assert [limit.tier for limit in minima] == [1, 2]
    assert {limit.product_class for limit in minima} == {product_class}


def test_a_unit_out_of_scope_is_said_to_be():
    assert not federal(601.0).in_scope
    assert not federal(9.0).in_scope
    assert federal(9.0).minima == ()
    assert federal(200.0).in_scope


def test_what_is_unverified_is_named_with_the_year():
    found = federal(200.0)
    assert all("rule of 2023" in phrase for phrase in found.unverified)
    assert found.minima[0].minimum.caution == "unverified: read second-hand, rule of 2023"


def test_clean_air_per_watt_keeps_the_sign_of_the_rate():
    assert clean_air_per_watt(Measured(-2.0, 3.0), Measured(10.0, 0.1)).value == pytest.approx(-0.2)


def test_relative_uncertainties_join():
    found = clean_air_per_watt(Measured(200.0, 6.0, 5), Measured(50.0, 2.0))
    assert found.uncertainty / found.value == pytest.approx(math.hypot(0.03, 0.04))
    assert found.degrees_of_freedom == 5


def test_no_power_gives_no_efficiency():
    with pytest.raises(ValueError, match="power is 0 W; clean air per watt needs a power above zero"):
        clean_air_per_watt(Measured(200.0, 6.0), Measured(0.0, 0.0))


def test_the_federal_factor_needs_both_rates():
    with pytest.raises(ValueError, match="smoke rate is 100 m³/h and the dust rate 0 m³/h; the federal factor needs"):
        federal_energy(100.0, 0.0, 50.0, 1.0)


@pytest.mark.parametrize("powers", [(0.0, 1.0), (50.0, -1.0)])
def test_the_federal_factor_needs_powers(powers):
    with pytest.raises(ValueError, match="factor, the first must be above zero and the second zero or above"):
        federal_energy(100.0, 100.0, *powers)

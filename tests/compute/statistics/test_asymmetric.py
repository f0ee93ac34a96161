"""A measured quantity with an interval that is not symmetric."""

import pytest

from app.compute.statistics.asymmetric import AsymmetricMeasured


def test_another_unit_scales_every_part():
    hours = AsymmetricMeasured(30.0, 3.0, 24.0, 42.0).times(1 / 60)
    assert (hours.value, hours.uncertainty, *hours.interval_95) == pytest.approx((0.5, 0.05, 0.4, 0.7))


def test_an_interval_without_its_value_is_refused():
    with pytest.raises(ValueError, match=r"^The interval 31\.0 to 42\.0 must contain the value 30\.0\.$"):
        AsymmetricMeasured(30.0, 3.0, 31.0, 42.0)


def test_a_negative_uncertainty_is_refused():
    with pytest.raises(ValueError, match=r"^The standard uncertainty is -1\.0; it must be zero or above\.$"):
        AsymmetricMeasured(30.0, -1.0, 24.0, 42.0)


def test_a_factor_that_turns_the_interval_round_is_refused():
    with pytest.raises(ValueError, match=r"^The factor between the units is -1; it must be above zero\.$"):
        AsymmetricMeasured(30.0, 3.0, 24.0, 42.0).times(-1)

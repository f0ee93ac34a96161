"""Conversion factors against the exact foot and the table of factors (recomputed)."""

import pytest

from app.compute.clean_air import conversions


@pytest.mark.parametrize(
    ("factor", "expected"),
    [
        (conversions.M3_PER_CUBIC_FOOT, 0.028316846592),
        (conversions.M2_PER_SQUARE_FOOT, 0.09290304),
        (conversions.M3_PER_H_PER_CUBIC_FOOT_PER_MINUTE, 1.699010795520),
        (conversions.CUBIC_FEET_PER_MINUTE_PER_M3_PER_H, 0.588577778691),
    ],
)
def test_the_factors_are_those_of_the_exact_foot(factor, expected):
    """0.3048 m exactly (international foot); the products recomputed by hand to twelve decimals."""
    assert factor == pytest.approx(expected, abs=1e-12)


def test_there_and_back_changes_nothing():
    there = conversions.to_cubic_feet_per_minute(162.1)
    assert conversions.from_cubic_feet_per_minute(there) == pytest.approx(162.1, rel=1e-15)

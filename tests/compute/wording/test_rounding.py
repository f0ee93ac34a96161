"""Rounding by the uncertainty, and numbers in words."""

import math
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.compute.wording.numbers import at_most, counted, listed, measured_text, money, not_within
from app.compute.wording.rounding import decimals_for, decimals_from_size, rounded_text

sizes = st.floats(min_value=1e-9, max_value=1e9)


def test_a_value_is_rounded_to_the_place_of_its_uncertainty():
    """JCGM 100:2008, 7.2.6: y = 10.057 62 Ω with u = 27 mΩ is given as 10.058 Ω. From memory."""
    assert decimals_for(0.027) == 3
    assert measured_text(10.05762, 0.027).value == "10.058"


@given(sizes)
def test_rounding_keeps_the_uncertainty_within_a_seventh(uncertainty: float):
    places = decimals_for(uncertainty)
    assert places is not None
    assert abs(round(uncertainty, places) - uncertainty) <= uncertainty / 7


@given(sizes)
def test_an_uncertainty_never_shows_more_than_two_significant_digits(uncertainty: float):
    places = decimals_for(uncertainty)
    assert places is not None
    assert uncertainty * 10.0**places < 99.5


@pytest.mark.parametrize("nothing", [None, 0.0, -1.0, math.nan, math.inf])
def test_an_uncertainty_that_says_nothing_gives_no_place(nothing: float | None):
    assert decimals_for(nothing) is None


def test_without_uncertainty_three_significant_digits_are_shown():
    assert [rounded_text(v, decimals_from_size(v)) for v in (0.012345, 1.2345, 123.45, 12345.6)] == [
        "0.0123",
        "1.23",
        "123",
        "12\u202f346",
    ]


def test_a_value_that_rounds_to_zero_has_no_sign():
    assert rounded_text(-0.004, 2) == "0.00"
    assert rounded_text(-0.006, 2) == "\u22120.01"


def test_places_below_zero_round_to_tens():
    assert measured_text(1234.0, 61.0).value == "1230"
    assert measured_text(1234.0, 61.0).uncertainty == "60"


def test_the_interval_stands_for_a_missing_uncertainty():
    words = measured_text(24.9, None, 24.4, 25.4)
    assert (words.value, words.interval, words.uncertainty) == ("24.90", "24.40 to 25.40", "0.25")


def test_a_measured_value_without_anything_shows_dashes():
    words = measured_text(12.0)
    assert (words.low, words.high, words.uncertainty) == ("–", "–", "–")


@given(st.floats(min_value=0.1, max_value=5000))
def test_a_censored_time_never_claims_more_than_was_watched(not_before: float):
    number = not_within(not_before).removeprefix("> ").removesuffix("\u00a0min")
    assert float(number) <= not_before


@given(st.floats(min_value=0.01, max_value=5000))
def test_an_upper_limit_is_never_rounded_below_itself(bound: float):
    number = at_most(bound, "W").removeprefix("at most ").removesuffix("\u00a0W")
    assert float(number) >= bound * (1 - 1e-8)


def test_money_shows_cents_only_below_a_hundred():
    assert money(99.9, "EUR") == "99.90\u00a0EUR"
    assert money(100.4, "EUR") == "100\u00a0EUR"
    assert money(100.4, "EUR", 2) == "100.40\u00a0EUR"


def test_words_agree_with_their_number():
    assert counted(1, "battery", "batteries") == "1 battery"
    assert counted(2, "battery", "batteries") == "2 batteries"
    assert listed(["a", "b"], "or") == "a or b"


def test_each_part_of_a_measured_text_is_rounded_alike():
    """Below and above the limits of the fast way, which formats all four parts at once."""
    widths = (0.0, 1e-9, 0.004, 0.3, 3.5, 40.0, 9000.0)
    for value in (-3.2, -0.0, 0.0, 0.00049, 0.05, 0.95, 1.0, 9.996, 123.456, 9998.4, 9998.96, 9999.5, 12345.6):
        for below, above in product(widths, widths):
            low, high = value - below, value + above
            text = measured_text(value, None, low, high)
            uncertainty = (high - low) / 4
            found = decimals_for(uncertainty)
            decimals = decimals_from_size(value) if found is None else found
            assert text == tuple(rounded_text(part, decimals) for part in (value, uncertainty, low, high))


def test_the_fast_way_of_rounding_gives_what_grouping_does():
    for value in (0.5, 1.5, 2.5, 0.125, -0.125, -0.04, -0.0, 0.0, 9998.5, 1e-12, 8765.4321, -9998.999):
        for decimals in range(6):
            rounded = round(value, decimals) or 0.0
            assert rounded_text(value, decimals) == f"{rounded:.{decimals}f}".replace("-", "\u2212")

import dataclasses

import pytest

from app.compute.clean_air.ratings import REASONS_TO_DIFFER, CertifiedRate, MeasuredRate, compare_with_rating
from app.compute.statistics.measured import Measured

SMOKE = CertifiedRate("smoke", 300.0, True, "", "chamber test", "public list", "2026-01-05")
MEASURED = MeasuredRate("smoke", "pm2_5", True, Measured(270.0, 9.0))


def compare(measured=None, certified=None):
    return compare_with_rating(
        dataclasses.replace(MEASURED, **(measured or {})), dataclasses.replace(SMOKE, **(certified or {}))
    )


def test_like_with_like_gives_a_ratio_with_its_interval_and_the_reasons_to_differ():
    found = compare()
    assert found.refused == ""
    assert found.ratio.value == pytest.approx(0.9)
    assert found.ratio.uncertainty == pytest.approx(0.03, rel=0.01)
    assert found.reasons_to_differ == REASONS_TO_DIFFER
    assert any("round down" in reason for reason in found.reasons_to_differ)


@pytest.mark.parametrize(
    ("rate", "words"),
    [(200.0, "below it"), (400.0, "above it"), (299.0, "cannot be told apart from the certified rate")],
)
def test_the_sentence_says_on_which_side(rate, words):
    assert words in compare({"rate": Measured(rate, 9.0)}).sentence


def test_the_rounding_of_the_rating_counts_for_a_small_unit():
    small = compare({"rate": Measured(20.0, 0.0)}, {"rate_m3_per_h": 20.0})
    assert small.ratio.uncertainty == pytest.approx(1.69901 / 12**0.5 / 20.0, rel=1e-4)


@pytest.mark.parametrize(
    ("measured", "certified", "why"),
    [
        ({"aerosol": "dust"}, {}, "A dust rate was measured and a smoke rate is certified."),
        ({}, {"aerosol": "pollen"}, "A smoke rate was measured and a pollen rate is certified."),
        ({"at_highest_setting": False}, {}, "A certified rate applies to the highest setting"),
        ({"channel": "voc"}, {}, "The channel voc does not count particles"),
        ({}, {"sister_model": "Model B"}, "The rating is for Model B, a sister model"),
        ({}, {"listed": False, "rate_m3_per_h": None}, "Searched for on 2026-01-05; not listed"),
        ({}, {"rate_m3_per_h": 0.0}, "certified rate is 0 m³/h; a ratio needs one above zero"),
    ],
)
def test_unlike_things_are_refused_with_the_reason(measured, certified, why):
    found = compare(measured, certified)
    assert why in found.refused
    assert found.ratio is None
    assert found.sentence == found.refused


def test_counts_of_particles_may_be_compared():
    assert compare({"channel": "count_0_3um"}).refused == ""


def test_no_measurable_cleaning_is_at_most_a_share():
    found = compare({"measurable": False, "at_most_m3_per_h": 15.0})
    assert found.ratio is None
    assert found.at_most_ratio == pytest.approx(0.05)
    assert found.sentence == "No measurable cleaning; at most 0.05 of the certified smoke rate."


def test_without_an_upper_limit_no_ratio_is_given():
    assert "has no upper limit" in compare({"measurable": False, "at_most_m3_per_h": None}).refused

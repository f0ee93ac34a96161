import math

import pytest
from scipy import stats

from app.compute.clean_air.claims import Evidence, StatedClaim, check_claim
from app.compute.statistics.measured import Measured


def rate(value, uncertainty=5.0, **fields):
    return Evidence(Measured(value, uncertainty), aerosol="smoke", **fields)


def sound(value, uncertainty=0.5, distance_m=1.0, **fields):
    return Evidence(Measured(value, uncertainty), distance_m=distance_m, **fields)


def claim_rate(bound="at least", value=340.0, unit="m³/h", **fields):
    return StatedClaim("clean_air_delivery_rate", value, unit, bound, "smoke", **fields)


@pytest.mark.parametrize(
    ("measured", "bound", "verdict"),
    [
        (360.0, "at least", "supported"),
        (335.0, "at least", "supported"),  # the interval reaches 340
        (320.0, "at least", "not supported"),
        (320.0, "at most", "supported"),
        (360.0, "at most", "not supported"),
        (320.0, "about", "supported"),  # within a tenth
        (280.0, "about", "not supported"),
        (400.0, "about", "not supported"),
    ],
)
def test_the_interval_decides_by_the_bound(measured, bound, verdict):
    found = check_claim(claim_rate(bound), rate(measured))
    assert found.verdict == verdict
    assert found.margin == pytest.approx(measured - 340)
    assert (found.low_95, found.high_95) == pytest.approx((measured - 9.8, measured + 9.8), abs=0.01)


def test_units_are_converted():
    found = check_claim(claim_rate(value=200.0, unit="CFM"), rate(350.0))
    assert found.claimed == pytest.approx(339.8, abs=0.01)
    assert found.unit_symbol == "m³/h"


def test_an_interval_too_wide_decides_nothing():
    found = check_claim(claim_rate(), rate(300.0, uncertainty=100.0))
    assert found.verdict == "cannot be tested here"
    assert found.sentence == (
        "Cannot be tested here: The interval of the measurement, 104 to 496 m³/h, is too wide to decide."
    )
    assert found.margin == pytest.approx(-40)


def test_a_wide_interval_still_refutes_what_lies_outside_it():
    assert check_claim(claim_rate(value=1000.0), rate(100.0, uncertainty=100.0)).verdict == "not supported"


def test_a_bound_can_refuse_at_least_and_support_at_most():
    nothing = Evidence(None, at_most=12.0, aerosol="smoke")
    assert check_claim(claim_rate("at least"), nothing).sentence == (
        "Not supported: measured at most 12.0 m³/h against at least 340 m³/h claimed, 328 or more below it."
    )
    assert check_claim(claim_rate("at most"), nothing).verdict == "supported"
    assert check_claim(claim_rate("at least", 10.0), nothing).sentence == (
        "Cannot be tested here: The measurement only shows that it is at most 12.0 m³/h."
    )
    neither = check_claim(claim_rate(), Evidence(None, aerosol="smoke"))
    assert "gives neither a value nor a bound" in neither.sentence


def test_another_aerosol_is_another_test():
    claim = StatedClaim("clean_air_delivery_rate", 340.0, "m³/h", "at least", "dust")
    assert "The claim is for dust, the measurement for smoke" in check_claim(claim, rate(400.0)).sentence


def test_what_was_not_measured_cannot_be_tested():
    assert check_claim(claim_rate(), None).sentence == "Cannot be tested here: The bench has not measured this yet."


@pytest.mark.parametrize(
    ("quantity", "unit", "words"),
    [
        ("filter_life", "months", "over months of use"),
        ("removal_efficiency", "%", "the bench measures the room"),
        ("germs_removed", "%", "germs needs a biological laboratory"),
        ("other", "", "no measurement for"),
    ],
)
def test_some_claims_are_never_tested_here(quantity, unit, words):
    found = check_claim(StatedClaim(quantity, 99.97, unit), rate(300.0))
    assert found.verdict == "cannot be tested here"
    assert words in found.sentence


def test_a_claim_without_a_number():
    assert "states no number" in check_claim(StatedClaim("power", None, "W"), None).sentence


def test_a_room_claim_goes_through_the_155_rule_and_says_so():
    # 1.55 ft² for each ft³/min: 100 m³/h is 58.86 ft³/min, 91.2 ft², 8.476 m²
    found = check_claim(StatedClaim("room_area", 25.0, "m²", "at most"), rate(300.0))
    assert found.measured == pytest.approx(25.43, abs=0.01)
    assert "1.55 rule" in found.cautions[0]
    assert "4.84 air changes per hour" in found.cautions[0]


def test_air_changes_need_a_room():
    claim = StatedClaim("air_changes", 5.0, "1/h", "at least")
    assert "names no room size" in check_claim(claim, rate(300.0)).sentence
    found = check_claim(StatedClaim("air_changes", 5.0, "1/h", "at least", room_area_m2=20.0), rate(300.0))
    assert found.measured == pytest.approx(300 / (20 * 2.4384))
    assert found.verdict == "supported"


def test_the_time_for_one_air_change():
    claim = StatedClaim("air_change_time", 8.0, "min", "at most", room_area_m2=20.0)
    found = check_claim(claim, rate(300.0))
    assert found.measured == pytest.approx(60 * 20 * 2.4384 / 300)
    assert found.verdict == "not supported"
    assert check_claim(claim, rate(3.0)).verdict == "cannot be tested here"


def test_sound_is_brought_to_the_claimed_distance_and_marked():
    found = check_claim(StatedClaim("sound_level", 44.0, "dB(A)", "at most", distance_m=2.0), sound(50.0))
    assert found.measured == pytest.approx(50 - 20 * math.log10(2))
    assert found.verdict == "supported"
    assert "20 lg of the distances (-6.0 dB): an estimate" in found.cautions[0]


def test_sound_at_the_same_distance_needs_no_conversion():
    found = check_claim(StatedClaim("sound_level", 50.0, "dB(A)", "at most", distance_m=1.0), sound(50.0))
    assert found.cautions == ()


def test_sound_without_distance_or_weighting_is_cautioned():
    found = check_claim(StatedClaim("sound_level", 30.0, "dB", "at most"), sound(50.0, estimate=True))
    assert found.verdict == "not supported"
    assert found.cautions == (
        "The claim says dB without a weighting; dB(A) is assumed.",
        "The measured level was converted from another distance, so it is an estimate.",
        "The claim names no distance; it is compared with the level at 1 m.",
    )


def test_a_bound_of_sound_moves_with_the_distance():
    quiet = Evidence(None, at_most=30.0, distance_m=1.0)
    found = check_claim(StatedClaim("sound_level", 25.0, "dB(A)", "at most", distance_m=2.0), quiet)
    assert found.verdict == "supported"
    assert found.high_95 == pytest.approx(30 - 20 * math.log10(2))


@pytest.mark.parametrize(("level", "distance"), [(12.0, None), (12.0, 1.0), (15.0, 0.5), (8.0, 3.0)])
def test_a_running_fan_below_a_quiet_room_is_impossible_whatever_was_measured(level, distance):
    claim = StatedClaim("sound_level", level, "dB(A)", "at most", distance_m=distance)
    for evidence in (None, sound(12.0)):
        found = check_claim(claim, evidence)
        assert found.physically_impossible
        assert found.verdict == "not supported"
        assert "far below the level of a quiet room" in found.sentence


def test_a_low_level_far_away_is_possible():
    claim = StatedClaim("sound_level", 18.0, "dB(A)", "at most", distance_m=3.0)
    assert not check_claim(claim, sound(25.0)).physically_impossible


def test_small_powers_have_an_absolute_tolerance():
    claim = StatedClaim("standby_power", 0.3, "W")
    assert check_claim(claim, Evidence(Measured(0.40, 0.01))).verdict == "supported"
    assert check_claim(claim, Evidence(Measured(0.55, 0.01))).verdict == "not supported"


def test_an_unknown_quantity_lists_the_known_ones():
    with pytest.raises(ValueError, match="quantity 'beauty' is not known; choose one of: clean_air_delivery_rate"):
        check_claim(StatedClaim("beauty", 1.0, ""), None)


def test_an_unknown_unit_lists_the_known_ones():
    with pytest.raises(
        ValueError, match="unit of measure 'sone' does not fit a claim about sound level; choose one of"
    ):
        check_claim(StatedClaim("sound_level", 1.0, "sone"), None)


def test_zero_is_written_as_zero():
    found = check_claim(StatedClaim("ozone", 0.0, "ppb", "at most"), Evidence(Measured(4.0, 1.0)))
    assert "against at most 0 ppb claimed" in found.sentence


def test_a_level_brought_to_another_distance_keeps_the_few_degrees_of_freedom_of_its_readings():
    """JCGM 100:2008, G.4.1 (from memory, recomputed): u = hypot(u1, u2) and nu = u^4 / (u1^4 / nu1), u2 with infinite
    degrees of freedom; u2 is half of 20 lg 2 as a rectangle. The interval is Student's t times u."""
    level = Evidence(Measured(40.0, 1.0, 4.0), None, 1.0, "", False)
    found = check_claim(StatedClaim("sound_level", 30.0, "dB(A)", "at most", distance_m=2.0), level)
    change = 20 * math.log10(2.0)
    both = math.hypot(1.0, change / 2 / math.sqrt(3))
    t = stats.t.ppf(0.975, both**4 / (1.0 / 4.0))
    assert found.low_95 == pytest.approx(40.0 - change - t * both)
    assert found.high_95 == pytest.approx(40.0 - change + t * both)


def test_a_bound_that_decides_tells_by_how_much_at_least():
    found = check_claim(StatedClaim("ozone", 5.0, "ppb", "at most"), Evidence(None, 3.0))
    assert found.sentence == (
        "Supported: measured at most 3.00 ppb against at most 5 ppb claimed, 2.00 or more below it."
    )

import pytest

from app.compute.clean_air.ozone import CAUTION, LIMITS, ozone_finding


def test_no_test_is_not_measured_and_never_zero():
    found = ozone_finding(False, None)
    assert (found.measured, found.ozone_ppb) == (False, None)
    assert found.sentence == "Ozone: not measured. Nothing in the unit is known to produce it."
    assert found.caution == ""
    assert ozone_finding(True, None).caution == CAUTION


def test_a_value_stands_between_the_limits():
    found = ozone_finding(True, 20.0)
    assert [limit.value for limit in found.above_limits] == [5.0]
    assert [limit.value for limit in found.below_limits] == [50.0, 50.0]
    assert found.sentence == "Ozone: 20 ppb, above 5 ppb (UL)."


def test_a_value_on_the_limit_is_within_it():
    assert ozone_finding(True, 50.0).above_limits == ozone_finding(True, 6.0).above_limits
    assert ozone_finding(True, 5.0).sentence == "Ozone: 5 ppb, within every public limit listed."


def test_below_detection_is_an_upper_bound():
    assert ozone_finding(True, 3.0, below_detection=True).sentence == (
        "Ozone: less than 3 ppb, within every public limit listed."
    )
    found = ozone_finding(True, 10.0, below_detection=True)
    assert found.above_limits == ()
    assert "cannot resolve the others" in found.sentence


def test_a_unit_that_should_make_none_but_does_carries_the_caution():
    assert ozone_finding(False, 30.0).caution == CAUTION
    assert ozone_finding(False, 2.0).caution == ""
    assert "Ask a doctor" in CAUTION


def test_the_limits_say_how_they_are_known():
    """17 CCR 94800: read in two secondary pages; the US EPA's program: read; UL 2998: from memory."""
    assert {(limit.body, limit.value, limit.standing) for limit in LIMITS} == {
        ("California Air Resources Board", 50.0, "read second-hand"),
        ("US EPA", 50.0, "read"),
        ("UL", 5.0, "from memory"),
    }


def test_a_value_below_zero_is_refused():
    with pytest.raises(ValueError, match="ozone value is -1 ppb; it must be zero or above"):
        ozone_finding(True, -1.0)

import pytest

from app.errors import InvalidValue, NotFound
from app.services.measurements.claims import add_claim, claims_of_unit, delete_claim
from app.services.measurements.definitions import NewClaim, NewOzoneTest
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT, change_unit
from tests.sample_data.measured_facts import DAY, add_power, add_rate, add_sound, add_unit_with_setting


def claim(quantity="clean_air_delivery_rate", value=200.0, unit="cfm", bound="at least", **fields):
    return NewClaim(
        quantity=quantity,
        value=value,
        unit_symbol=unit,
        bound=bound,
        wording=fields.pop("wording", "as printed"),
        seen_on=DAY,
        **fields,
    )


def only_check(session, unit_id):
    (entry,) = claims_of_unit(session, unit_id)
    return entry


def test_a_rate_is_held_against_the_highest_setting_with_smoke(session, small_bench):
    add_rate(session, small_bench.unit_id, small_bench.low_setting_id, small_bench.room_id, 100.0)
    add_rate(session, small_bench.unit_id, small_bench.high_setting_id, small_bench.room_id, 300.0)
    add_claim(session, small_bench.unit_id, claim())
    entry = only_check(session, small_bench.unit_id)
    assert entry.check.verdict == "not supported"
    assert entry.check.claimed == pytest.approx(339.8, abs=0.01)
    assert entry.setting == "high"


def test_a_claim_on_a_named_setting_is_held_against_it(session, small_bench):
    add_rate(session, small_bench.unit_id, small_bench.low_setting_id, small_bench.room_id, 100.0)
    add_rate(session, small_bench.unit_id, small_bench.high_setting_id, small_bench.room_id, 300.0)
    add_claim(session, small_bench.unit_id, claim(value=55.0, setting_id=small_bench.low_setting_id))
    entry = only_check(session, small_bench.unit_id)
    assert (entry.check.verdict, entry.setting) == ("supported", "low")


def test_no_measurable_cleaning_refuses_at_least(session, small_bench):
    add_rate(
        session,
        small_bench.unit_id,
        small_bench.high_setting_id,
        small_bench.room_id,
        1.0,
        measurable=False,
        at_most=9.0,
    )
    add_claim(session, small_bench.unit_id, claim())
    assert "measured at most 9.00 m³/h" in only_check(session, small_bench.unit_id).check.sentence


def test_a_rate_that_does_not_exist_cannot_decide(session, small_bench):
    add_rate(session, small_bench.unit_id, small_bench.high_setting_id, small_bench.room_id, None)
    add_claim(session, small_bench.unit_id, claim())
    assert only_check(session, small_bench.unit_id).check.verdict == "cannot be tested here"


def test_a_quiet_claim_is_held_against_the_quietest_setting(session, small_bench):
    add_sound(session, small_bench.unit_id, small_bench.low_setting_id, 38.0)
    add_sound(session, small_bench.unit_id, small_bench.high_setting_id, 55.0)
    add_claim(session, small_bench.unit_id, claim("sound_level", 24.0, "dB(A)", "at most"))
    entry = only_check(session, small_bench.unit_id)
    assert (entry.check.verdict, entry.setting) == ("not supported", "low")
    assert not entry.check.physically_impossible


def test_a_level_that_cannot_be_is_caught_without_any_measurement(session, small_bench):
    add_claim(session, small_bench.unit_id, claim("sound_level", 9.0, "dB(A)", "at most", distance_m=1.0))
    assert only_check(session, small_bench.unit_id).check.physically_impossible


def test_a_bound_of_sound_supports_at_most(session, small_bench):
    add_sound(session, small_bench.unit_id, small_bench.low_setting_id, 30.0, background_dba=29.0)
    add_claim(session, small_bench.unit_id, claim("sound_level", 28.0, "dB(A)", "at most", distance_m=1.0))
    assert only_check(session, small_bench.unit_id).check.verdict == "supported"


def test_power_standby_ozone_and_mass_have_their_own_measurement(session, small_bench):
    add_power(session, small_bench.unit_id, small_bench.high_setting_id, 50.0)
    add_power(session, small_bench.unit_id, None, 0.4, 0.01)
    add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=2.0, tested_on=DAY, below_detection=True))
    change_unit(session, small_bench.unit_id, {"mass_kg": 5.0})
    for new in (
        claim("power", 50.0, "W", "about"),
        claim("standby_power", 0.3, "W", "at most"),
        claim("ozone", 5.0, "ppb", "at most"),
        claim("mass", 5.0, "kg", "about"),
    ):
        add_claim(session, small_bench.unit_id, new)
    verdicts = {e.claim.quantity: e.check.verdict for e in claims_of_unit(session, small_bench.unit_id)}
    assert verdicts == {
        "power": "supported",
        "standby_power": "not supported",
        "ozone": "supported",
        "mass": "supported",
    }


@pytest.mark.parametrize("quantity", ["power", "standby_power", "ozone", "mass", "sound_level", "room_area"])
def test_what_was_not_measured_cannot_be_tested(session, small_bench, quantity):
    units = {"ozone": "ppb", "mass": "kg", "sound_level": "dB(A)", "room_area": "m²"}
    add_claim(session, small_bench.unit_id, claim(quantity, 40.0, units.get(quantity, "W")))
    assert "has not measured this yet" in only_check(session, small_bench.unit_id).check.sentence


def test_a_measured_ozone_value_is_not_a_bound(session, small_bench):
    add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=30.0, tested_on=DAY))
    add_claim(session, small_bench.unit_id, claim("ozone", 5.0, "ppb", "at most"))
    assert only_check(session, small_bench.unit_id).check.verdict == "not supported"


def test_a_claim_that_is_never_tested_is_kept_all_the_same(session, small_bench):
    add_claim(session, small_bench.unit_id, claim("germs_removed", 99.9, "%", wording="kills  99.9 %\nof germs"))
    entry = only_check(session, small_bench.unit_id)
    assert entry.check.verdict == "cannot be tested here"
    assert entry.claim.wording == "kills 99.9 % of germs"


def test_taking_back_keeps_the_record(session, small_bench):
    entry = add_claim(session, small_bench.unit_id, claim())
    delete_claim(session, entry, why="another model")
    assert claims_of_unit(session, small_bench.unit_id) == ()
    assert changes_of(session, SUBJECT, small_bench.unit_id)[0].before == (
        "clean air delivery rate, at least 200 cfm: “as printed”, seen on 2026-02-03\n"
        "value: 200; unit symbol: cfm; bound: at least; wording: as printed; seen on: 2026-02-03"
    )
    with pytest.raises(NotFound, match=f"There is no claim {entry}"):
        delete_claim(session, entry, why="again")


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"quantity": "beauty"}, "The quantity of the claim is 'beauty'; choose one of: clean_air_delivery_rate"),
        ({"unit": "W"}, "The unit of measure 'W' does not fit a claim about clean air delivery rate"),
        ({"value": -2.0}, "The claim is -2 cfm; it must be zero or above"),
        ({"bound": "exactly"}, "The bound of the claim is 'exactly'; choose one of: about, at least, at most"),
        ({"aerosol": "odour"}, "The aerosol of the claim is 'odour'"),
        ({"distance_m": 0.0}, "The distance is 0 m; enter a number from 0.01 to 100 m"),
        ({"wording": " "}, "The wording of the claim is empty"),
    ],
)
def test_impossible_claims_are_refused(session, small_bench, fields, message):
    with pytest.raises(InvalidValue, match=message):
        add_claim(session, small_bench.unit_id, claim(**fields))


def test_a_setting_of_another_unit_is_refused(session, small_bench):
    _, other = add_unit_with_setting(session, "Model 9")
    with pytest.raises(InvalidValue, match="does not belong to"):
        add_claim(session, small_bench.unit_id, claim(setting_id=other))


def test_an_ozone_value_decides_with_an_uncertainty_and_says_which(session, small_bench):
    """30 ppb with a tenth as standard uncertainty (common practice, no source): 30 ± 1.96 · 3 is 24 to 36 ppb."""
    add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=30.0, tested_on=DAY))
    for value in (5.0, 29.0):
        add_claim(session, small_bench.unit_id, claim("ozone", value, "ppb", "at most"))
    far, near = (checked.check for checked in claims_of_unit(session, small_bench.unit_id))
    assert far.verdict == "not supported"
    assert (far.low_95, far.high_95) == (pytest.approx(24.12, abs=0.01), pytest.approx(35.88, abs=0.01))
    assert "(24.1 to 35.9)" in far.sentence
    assert near.verdict != "not supported"  # the interval holds the claim
    for check in (far, near):
        assert any("has no uncertainty; a tenth of it" in caution for caution in check.cautions)

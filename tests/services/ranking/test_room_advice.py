import pytest

from app.errors import InvalidValue
from app.services.ranking.room_advice import RoomChoices, advice_for_room
from app.services.snapshot.bench_snapshot import current_snapshot
from tests.sample_data.measured_facts import add_price, add_rate, add_sound, add_unit_with_setting


@pytest.fixture
def bench(session, small_bench):
    """Model 1 at low and high; a strong loud one; one that does nothing; one without anything known."""
    ids = small_bench
    add_rate(session, ids.unit_id, ids.low_setting_id, ids.room_id, 240.0, 5.0)
    add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 400.0)
    add_sound(session, ids.unit_id, ids.low_setting_id, 40.0)
    add_sound(session, ids.unit_id, ids.high_setting_id, 44.0)
    loud, loud_setting = add_unit_with_setting(session, "Loud")
    add_rate(session, loud, loud_setting, ids.room_id, 700.0)
    add_sound(session, loud, loud_setting, 60.0)
    add_price(session, loud, 90.0)
    idle, idle_setting = add_unit_with_setting(session, "Idle")
    add_rate(session, idle, idle_setting, ids.room_id, 1.0, measurable=False, at_most=6.0)
    add_sound(session, idle, idle_setting, 30.0)
    add_price(session, idle, 50.0, "EUR")
    add_unit_with_setting(session, "Unknown")
    return ids


def test_what_to_buy_for_20_m2_below_45_dba(session, bench):
    found = advice_for_room(current_snapshot(session), RoomChoices(room_area_m2=20.0, max_sound_dba=45.0))
    assert {(fit.candidate.unit, fit.candidate.setting) for fit in found.advice.fits} == {
        ("Maker A Model 1", "low"),
        ("Maker A Model 1", "high"),
    }
    assert found.best_of_unit == (bench.low_setting_id,)
    assert found.need.rate_m3_per_h == pytest.approx(236.0, abs=0.1)
    low = next(fit for fit in found.advice.fits if fit.candidate.setting == "low")
    assert not low.sure  # 230 to 250 m³/h
    assert found.units == 4


def test_each_limit_says_how_many_units_it_takes_out(session, bench):
    found = advice_for_room(current_snapshot(session), RoomChoices(max_price=100.0))
    counts = {left.field: left.units for left in found.left_out}
    assert counts == {"rate": 2, "sound": 2, "price": 3}


def test_the_reasons_tell_unmeasurable_from_unmeasured(session, bench):
    found = advice_for_room(current_snapshot(session))
    reasons = {left.candidate.unit: left.reasons for left in found.advice.left_out}
    assert reasons["Maker B Idle"] == ("no measurable cleaning",)
    assert reasons["Maker B Unknown"] == ("clean air rate not measured", "sound not measured")


def test_the_frontier_holds_what_nothing_beats(session, bench):
    found = advice_for_room(current_snapshot(session))
    assert [(c.unit, c.setting) for c in found.frontier] == [
        ("Maker B Loud", "high"),
        ("Maker A Model 1", "low"),
        ("Maker A Model 1", "high"),
    ]


def test_the_nearest_are_named_where_nothing_serves(session, bench):
    found = advice_for_room(current_snapshot(session), RoomChoices(room_area_m2=50.0))  # 590 m³/h
    assert found.advice.fits == ()
    assert (found.strongest_within_limits.unit, found.strongest_within_limits.setting) == ("Maker A Model 1", "high")
    assert found.quietest_that_serves.unit == "Maker B Loud"


def test_two_of_one_unit_may_serve_where_one_does_not(session, bench):
    found = advice_for_room(current_snapshot(session), RoomChoices(room_area_m2=40.0, max_sound_dba=48.0))  # 472 m³/h
    assert found.advice.fits == ()
    assert [(fit.candidate.setting, round(fit.candidate.rate.value)) for fit in found.pairs] == [
        ("low", 480),
        ("high", 800),
    ]
    assert found.pairs[0].candidate.price == 398.0
    one_is_enough = advice_for_room(current_snapshot(session), RoomChoices(room_area_m2=10.0))
    assert "Maker A Model 1" not in {fit.candidate.unit for fit in one_is_enough.pairs}


def test_without_measurements_nothing_is_near(session, small_bench):
    found = advice_for_room(current_snapshot(session))
    assert (found.strongest_within_limits, found.quietest_that_serves) == (None, None)


def test_air_changes_use_the_rooms_own_ceiling(session, bench):
    found = advice_for_room(
        current_snapshot(session),
        RoomChoices(rule="air changes", air_changes_per_h=3.0, room_height_m=3.0, max_sound_dba=None),
    )
    assert found.need.rate_m3_per_h == 180.0
    assert len(found.advice.fits) == 3


def test_an_empty_bench_has_no_advice(session):
    assert advice_for_room(current_snapshot(session)).advice.fits == ()


@pytest.mark.parametrize(
    ("fields", "field", "message"),
    [
        ({"room_area_m2": 0.0}, "room_area_m2", "Found 0 m²; enter a value above 0 and at most 10000"),
        ({"room_height_m": 200.0}, "room_height_m", "Found 200 m; enter a value above 0 and at most 100"),
        ({"air_changes_per_h": -1.0}, "air_changes_per_h", "Found -1 air changes per hour"),
        ({"max_sound_dba": -5.0}, "max_sound_dba", r"The limit is -5 dB\(A\); enter zero or above"),
        ({"max_price": float("inf")}, "max_price", "The limit is inf ; enter zero or above"),
        ({"rule": "guess"}, "rule", "The rule is 'guess'; choose one of: 1.55 rule, air changes"),
    ],
)
def test_impossible_rooms_are_refused(session, fields, field, message):
    with pytest.raises(InvalidValue, match=message) as refused:
        advice_for_room(current_snapshot(session), RoomChoices(**fields))
    assert refused.value.field == field

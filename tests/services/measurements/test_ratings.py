import pytest

from app.errors import InvalidValue, NotFound
from app.services.history.change_history import ChangeFilter, described_changes
from app.services.measurements.definitions import NewRating
from app.services.measurements.ratings import add_rating, delete_rating, own_rate_m3_per_h, ratings_of_unit
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT
from tests.sample_data.measured_facts import DAY, add_rate


def smoke(**fields):
    return NewRating(**({"aerosol": "smoke", "value": 200.0, "source": "public list", "seen_on": DAY} | fields))


def test_a_rating_is_compared_with_the_measured_rate_of_its_aerosol(session, small_bench):
    add_rate(session, small_bench.unit_id, small_bench.high_setting_id, small_bench.room_id, 300.0, 6.0)
    add_rating(session, small_bench.unit_id, smoke())
    entry = ratings_of_unit(session, small_bench.unit_id)[0]
    assert entry.comparison.ratio.value == pytest.approx(300 / 339.802, abs=1e-4)
    assert entry.measured.setting == "high"
    assert entry.rating.stated_value == 200.0


def test_a_dust_rating_is_not_held_against_a_smoke_rate(session, small_bench):
    add_rate(session, small_bench.unit_id, small_bench.high_setting_id, small_bench.room_id, 300.0)
    add_rating(session, small_bench.unit_id, smoke(aerosol="dust"))
    refused = ratings_of_unit(session, small_bench.unit_id)[0].comparison.refused
    assert refused.startswith("A smoke rate was measured and a dust rate is certified.")


def test_a_rate_at_a_lower_setting_is_not_compared(session, small_bench):
    add_rate(session, small_bench.unit_id, small_bench.low_setting_id, small_bench.room_id, 100.0)
    add_rating(session, small_bench.unit_id, smoke())
    assert "measured at a lower setting" in ratings_of_unit(session, small_bench.unit_id)[0].comparison.refused


def test_without_a_measurement_it_says_so(session, small_bench):
    add_rating(session, small_bench.unit_id, smoke())
    entry = ratings_of_unit(session, small_bench.unit_id)[0]
    assert entry.measured is None
    assert "has not measured a smoke rate at the highest setting" in entry.comparison.refused


def test_no_measurable_cleaning_is_bounded(session, small_bench):
    add_rate(
        session,
        small_bench.unit_id,
        small_bench.high_setting_id,
        small_bench.room_id,
        2.0,
        measurable=False,
        at_most=17.0,
    )
    add_rating(session, small_bench.unit_id, smoke())
    assert ratings_of_unit(session, small_bench.unit_id)[0].comparison.at_most_ratio == pytest.approx(0.05, abs=1e-3)


def test_looked_for_and_not_listed_is_a_dated_fact(session, small_bench):
    add_rating(session, small_bench.unit_id, smoke(listed=False, value=None))
    entry = ratings_of_unit(session, small_bench.unit_id)[0]
    assert (entry.rating.listed, entry.rating.seen_on) == (False, DAY)
    assert changes_of(session, SUBJECT, small_bench.unit_id)[0].after == (
        "smoke: searched for, not listed, seen on 2026-02-03"
    )


def test_a_sister_models_rating_never_fills_the_units_own(session, small_bench):
    add_rating(session, small_bench.unit_id, smoke(sister_model="Model 2"))
    entries = ratings_of_unit(session, small_bench.unit_id)
    assert own_rate_m3_per_h(entries, "smoke") is None
    add_rating(session, small_bench.unit_id, smoke(value=100.0, unit_symbol="m³/h"))
    assert own_rate_m3_per_h(ratings_of_unit(session, small_bench.unit_id), "smoke") == 100.0
    assert own_rate_m3_per_h(ratings_of_unit(session, small_bench.unit_id), "pollen") is None


def test_a_later_look_that_found_nothing_ends_the_own_rate(session, small_bench):
    add_rating(session, small_bench.unit_id, smoke())
    add_rating(session, small_bench.unit_id, smoke(listed=False, value=None, seen_on=DAY.replace(month=3)))
    assert own_rate_m3_per_h(ratings_of_unit(session, small_bench.unit_id), "smoke") is None


def test_taking_back_keeps_the_record(session, small_bench):
    entry = add_rating(session, small_bench.unit_id, smoke())
    delete_rating(session, entry, who="Ada", why="wrong model")
    assert ratings_of_unit(session, small_bench.unit_id) == ()
    taken = changes_of(session, SUBJECT, small_bench.unit_id)[0]
    assert taken.why == "wrong model"
    assert taken.before == (
        "smoke: 200 ft³/min, seen on 2026-02-03\n"
        "aerosol: smoke; listed: yes; clean air delivery rate [m³/h]: 339.802159104; stated value: 200; "
        "stated unit: ft³/min; source: public list; seen on: 2026-02-03"
    )
    (told, _) = described_changes(session, wanted=ChangeFilter(unit_id=small_bench.unit_id)).rows[:2]
    assert (told.before, told.before_short) == (taken.before, "smoke: 200 ft³/min, seen on 2026-02-03")
    with pytest.raises(NotFound, match=f"There is no rating {entry}"):
        delete_rating(session, entry, why="again")


@pytest.mark.parametrize(
    ("fields", "field", "message"),
    [
        ({"aerosol": "odour"}, "aerosol", "aerosol of the rating is 'odour'; choose one of: smoke, dust, pollen"),
        ({"value": None}, "rating_value", "The rating is missing. Enter a number in ft³/min"),
        ({"value": 0.0}, "rating_value", "The rating is 0 ft³/min; it must be above zero"),
        (
            {"unit_symbol": "W"},
            "rating_unit",
            "The unit of measure 'W' does not fit a claim about clean air delivery rate",
        ),
        ({"listed": False}, "rating_value", "marked as not listed and has the value 200"),
        ({"source": ""}, "rating_source", "The source of the rating is empty"),
        ({"seen_on": None}, "rating_seen_on", "The rating has no date"),
    ],
)
def test_impossible_ratings_are_refused(session, small_bench, fields, field, message):
    with pytest.raises(InvalidValue, match=message) as refused:
        add_rating(session, small_bench.unit_id, smoke(**fields))
    assert refused.value.field == field

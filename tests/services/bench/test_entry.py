"""Units, settings, prices, consumables, rooms, smoke sources and loggers: what is stored, and what is refused."""

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.bench.choices import bench_choices, change_bench
from app.services.bench.definitions import NewLogger, NewRoom, NewSmokeSource, NewTariff
from app.services.bench.loggers import add_logger, change_logger, find_logger, get_logger
from app.services.bench.rooms import add_room, change_room, find_room, get_room
from app.services.bench.smoke_sources import add_smoke_source, find_smoke_source
from app.services.bench.tariffs import add_tariff
from app.services.costs.choices import OwningChoices, owning_terms
from app.services.measurements.definitions import NewOzoneTest, NewPowerMeasurement, NewSoundMeasurement
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.power_levels import add_power_measurement
from app.services.measurements.sound_levels import add_sound_measurement
from app.services.store.audit import changes_of
from app.services.store.checked_values import latest_current_day, optional_text
from app.services.units.consumables import add_consumable, add_consumable_price, say_none_needed
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit, change_unit, find_setting, find_unit, get_unit
from app.services.units.prices import add_price
from app.storage.models.units_under_test import Consumable, Price, SpeedSetting
from tests.conftest import NOW, SmallBench

DAY = date(2026, 3, 1)


def test_a_unit_is_added_with_its_record(session: Session):
    unit_id = add_unit(session, NewUnit(maker=" Maker B ", model="Model 7", kind="ioniser"), who="Ann", now=NOW)
    unit = get_unit(session, unit_id)
    assert (unit.maker, unit.model, unit.makes_ozone) == ("Maker B", "Model 7", True)
    (change,) = changes_of(session, "unit under test", unit_id)
    assert (change.who, change.action, change.after, change.at) == ("Ann", "added", "Maker B Model 7", NOW)
    assert find_unit(session, "maker b", "MODEL 7") == unit_id


def test_a_changed_unit_keeps_its_old_values_in_the_record(session: Session, small_bench: SmallBench):
    change_unit(session, small_bench.unit_id, {"mass_kg": 4.5, "notes": "loud"}, who="Ben", why="weighed again")
    change_unit(session, small_bench.unit_id, {"mass_kg": 4.7}, who="Ben")
    found = [(c.field, c.before, c.after, c.why) for c in changes_of(session, "unit under test", small_bench.unit_id)]
    assert found == [
        ("mass_kg", "4.5", "4.7", ""),
        ("notes", "", "loud", "weighed again"),
        ("mass_kg", None, "4.5", "weighed again"),
    ]


@pytest.mark.parametrize(
    ("new", "field", "message"),
    [
        (NewUnit(maker="  ", model="M"), "maker", "The maker is empty. Enter at least one letter."),
        (NewUnit(maker="A", model=""), "model", "The model is empty. Enter at least one letter."),
        (NewUnit(maker="A" * 201, model="M"), "maker", "The maker has 201 characters; at most 200 are "
                                                       "allowed. Shorten it."),
        (NewUnit(maker="A\x00B", model="M"), "maker", "The maker contains a NUL character"),
        (NewUnit(maker="A", model="M", kind="magic"), "kind_of_cleaning", "The type is 'magic'; choose one"),
        (NewUnit(maker="A", model="M", mass_kg=0), "mass_kg", "The mass is 0 kg; it must be above zero."),
        (NewUnit(maker="A", model="M", width_mm=math.nan), "width_mm", "The width is nan; enter a finite"),
        (NewUnit(maker="A", model="M", bought_on=date(1900, 1, 1)), "bought_on", "The purchase is dated 1900-01-01"),
        (NewUnit(maker="A", model="M", consumables_state="?"), "consumables_state", "The"),
    ],
)  # fmt: skip
def test_a_unit_that_cannot_be_stored_is_refused_with_its_field(
    session: Session, new: NewUnit, field: str, message: str
):
    with pytest.raises(InvalidValue) as refused:
        add_unit(session, new)
    assert refused.value.field == field
    assert refused.value.message.startswith(message)


def test_the_same_unit_twice_is_refused(session: Session, small_bench: SmallBench):
    with pytest.raises(AlreadyStored) as refused:
        add_unit(session, NewUnit(maker="maker a", model="model 1"))
    assert refused.value.message == (
        f"maker a model 1 already exists as unit {small_bench.unit_id}. Open that unit, restore it if "
        f"it is in the trash, or give this one another model name."
    )
    other = add_unit(session, NewUnit(maker="Maker A", model="Model 2"))
    with pytest.raises(AlreadyStored):
        change_unit(session, other, {"model": "Model 1"})


def test_an_unknown_unit_or_field_is_told(session: Session, small_bench: SmallBench):
    with pytest.raises(NotFound, match="There is no unit under test 99 in this bench"):
        get_unit(session, 99)
    with pytest.raises(InvalidValue, match="A unit has no field 'colour'; its fields are: maker, model, kind"):
        change_unit(session, small_bench.unit_id, {"colour": "red"})


def test_settings_come_in_order_and_one_is_the_highest(session: Session, small_bench: SmallBench):
    turbo = add_setting(session, small_bench.unit_id, NewSetting(name="turbo", is_highest=True))
    rows = session.execute(select(SpeedSetting.name, SpeedSetting.is_highest).order_by(SpeedSetting.position)).all()
    assert [tuple(row) for row in rows] == [("low", False), ("high", False), ("turbo", True)]
    assert find_setting(session, small_bench.unit_id, "TURBO") == turbo
    with pytest.raises(AlreadyStored, match="Maker A Model 1 already has a setting 'Turbo'"):
        add_setting(session, small_bench.unit_id, NewSetting(name="Turbo"))


def test_prices_are_kept_one_beside_the_other(session: Session, small_bench: SmallBench):
    add_price(session, small_bench.unit_id, NewPrice(amount=189.0, currency="usd", seen_on=DAY, source="shop window"))
    amounts = session.scalars(select(Price.amount).order_by(Price.seen_on)).all()
    assert amounts == [189.0, 199.0]


@pytest.mark.parametrize(
    ("amount", "currency", "day", "message"),
    [
        (None, "USD", DAY, "The price is missing. Enter a number in USD."),
        (-1.0, "USD", DAY, "The price is -1 USD; it must be zero or above. Correct it."),
        (1.0, "dollars", DAY, "The currency is 'dollars'; enter three letters such as USD or EUR."),
        (
            1.0,
            "USD",
            date(2099, 1, 1),
            f"The price is dated 2099-01-01, which is in the future; enter a date up to "
            f"{latest_current_day().isoformat()}.",
        ),
        (1.0, "USD", None, "The price has no date. Enter the date on which it was seen."),
    ],
)
def test_a_price_that_says_too_little_is_refused(
    session: Session, small_bench: SmallBench, amount, currency, day, message
):
    with pytest.raises(InvalidValue) as refused:
        add_price(session, small_bench.unit_id, NewPrice(amount=amount, currency=currency, seen_on=day, source="shop"))
    assert refused.value.message == message


def test_a_price_that_nobody_can_look_up_again_is_refused(session: Session, small_bench: SmallBench):
    words = "The price has no source. Enter where it was seen, such as a shop, a list or a bill."
    with pytest.raises(InvalidValue) as refused:
        add_price(session, small_bench.unit_id, NewPrice(amount=9.0, currency="USD", seen_on=DAY, source=" "))
    assert (refused.value.field, refused.value.message) == ("price_source", words)
    part = add_consumable(session, small_bench.unit_id, NewConsumable(name="Main filter"))
    with pytest.raises(InvalidValue) as refused:
        add_consumable_price(session, part, NewPrice(amount=9.0, currency="USD", seen_on=DAY))
    assert (refused.value.field, refused.value.message) == ("consumable_price_source", words)


def test_nothing_was_seen_or_measured_on_a_day_that_is_still_to_come(session: Session, small_bench: SmallBench):
    """Today is still a day that has begun, in whatever zone the desk sits."""
    today, ahead = datetime.now(UTC).date(), latest_current_day() + timedelta(days=1)
    add_price(session, small_bench.unit_id, NewPrice(amount=9.0, currency="USD", seen_on=today, source="shop"))
    part = add_consumable(session, small_bench.unit_id, NewConsumable(name="Main filter"))
    unit_id, setting = small_bench.unit_id, small_bench.high_setting_id
    sound = NewSoundMeasurement(level_dba=40.0, distance_m=1.0, measured_on=ahead)
    for add in (
        lambda: add_price(session, unit_id, NewPrice(amount=8.0, currency="USD", seen_on=ahead, source="shop")),
        lambda: add_consumable_price(session, part, NewPrice(amount=8.0, currency="USD", seen_on=ahead, source="shop")),
        lambda: add_ozone_test(session, unit_id, NewOzoneTest(ozone_ppb=8.0, tested_on=ahead)),
        lambda: add_power_measurement(session, unit_id, setting, NewPowerMeasurement(power_w=8.0, measured_on=ahead)),
        lambda: add_sound_measurement(session, unit_id, setting, sound),
    ):
        with pytest.raises(InvalidValue, match=f"is dated {ahead.isoformat()}, which is in the future"):
            add()
    assert session.scalars(select(Price.amount).order_by(Price.id)).all() == [199.0, 9.0]


def test_a_tariff_of_a_day_to_come_is_kept_and_is_that_of_the_bench_only_when_it_has_come(session: Session):
    today, ahead = datetime.now(UTC).date(), latest_current_day() + timedelta(days=1)
    now = add_tariff(
        session, NewTariff(region="Northland", price_per_kwh=0.2, currency="USD", valid_from=today, source="bill")
    )
    later = add_tariff(
        session,
        NewTariff(
            region="Northland", price_per_kwh=0.3, currency="USD", valid_from=ahead, source="letter of the supplier"
        ),
    )
    change_bench(session, replace(bench_choices(session), tariff_id=now), who="Ada")
    with pytest.raises(InvalidValue) as refused:
        change_bench(session, replace(bench_choices(session), tariff_id=later), who="Ada")
    assert refused.value.message == (
        f"The tariff of Northland is valid from {ahead.isoformat()}, which is in the future; the bench "
        f"needs one that is valid today. Choose another until then."
    )
    assert owning_terms(session, OwningChoices()).assumptions.price_per_kwh == 0.2
    terms = owning_terms(session, OwningChoices(tariff_id=later))
    assert terms.assumptions.price_per_kwh == 0.3
    assert f"Northland from {ahead.isoformat()}, which is in the future" in terms.tariff_words


def test_a_consumable_makes_the_unit_one_with_listed_consumables(session: Session, small_bench: SmallBench):
    part = add_consumable(session, small_bench.unit_id, NewConsumable(name="Main filter", life_months=12, pack_size=2))
    add_consumable_price(session, part, NewPrice(amount=39.0, currency="USD", seen_on=DAY, source="price list"))
    assert get_unit(session, small_bench.unit_id).consumables_state == "listed"
    fields = [change.field for change in changes_of(session, "unit under test", small_bench.unit_id)]
    assert fields == ["price of Main filter", "consumables_state", "consumable"]
    with pytest.raises(AlreadyStored, match=r"has a consumable 'Main filter'. Add a price to it"):
        add_consumable(session, small_bench.unit_id, NewConsumable(name="Main filter"))
    with pytest.raises(InvalidValue, match="has the consumable 'Main filter', so it cannot be marked as needing none"):
        say_none_needed(session, small_bench.unit_id)
    with pytest.raises(InvalidValue, match="The number of pieces per pack is 0; enter a whole number above zero"):
        add_consumable(session, small_bench.unit_id, NewConsumable(name="Other", pack_size=0))
    with pytest.raises(NotFound, match="There is no consumable 77 in this bench"):
        add_consumable_price(session, 77, NewPrice(amount=1.0, currency="USD", seen_on=DAY))
    assert session.scalars(select(Consumable.name)).all() == ["Main filter"]


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"pieces_in_use": 10**300}, "The number of pieces in use is 1e+300; enter at most 10000."),
        (
            {"life_months": 1e-9},
            "The life is 1e-09 months; enter at least 0.03, or leave it empty if it is not known.",
        ),
        (
            {"life_running_hours": 0.5},
            "The life is 0.5 hours; enter at least 1, or leave it empty if it is not known.",
        ),
        ({"life_months": 1e300}, "The life is 1e+300 months; enter at most 1e+12."),
    ],
)
def test_a_part_that_no_cost_could_be_worked_out_of_is_refused(
    session: Session, small_bench: SmallBench, fields: dict[str, float], message: str
):
    with pytest.raises(InvalidValue) as refused:
        add_consumable(session, small_bench.unit_id, NewConsumable(name="Main filter", **fields))
    assert refused.value.message == message


def test_the_position_of_a_setting_is_a_small_whole_number(session: Session, small_bench: SmallBench):
    for position in (-1, 10**18):
        with pytest.raises(InvalidValue, match="The position of the setting is"):
            add_setting(session, small_bench.unit_id, NewSetting(name="turbo", position=position))


def test_no_filter_is_a_recorded_fact(session: Session, small_bench: SmallBench):
    say_none_needed(session, small_bench.unit_id, who="Ann")
    assert get_unit(session, small_bench.unit_id).consumables_state == "none needed"


def test_the_volume_of_a_room_follows_from_its_sides(session: Session):
    room = get_room(session, add_room(session, NewRoom(name="Room B", length_m=5.0, width_m=4.0, height_m=2.5)))
    assert room.room_volume_m3 == pytest.approx(50.0)
    # each side known to 1 cm: relative variances add
    assert room.room_volume_uncertainty_m3 == pytest.approx(50 * math.hypot(0.01 / 5, 0.01 / 4, 0.01 / 2.5))


def test_an_uncertainty_that_was_not_told_is_assumed_and_said(session: Session):
    room = get_room(session, add_room(session, NewRoom(name="Room C", room_volume_m3=40.0, notes="carpet")))
    assert room.room_volume_uncertainty_m3 == pytest.approx(1.2)
    assert room.notes == "carpet\nThe uncertainty of the volume was not specified; 3 % is assumed."


@pytest.mark.parametrize(
    ("new", "field", "message"),
    [
        (NewRoom(name="R", length_m=4), "room_volume_m3", "The room 'R' has no volume and 1 of 3 dimensions."),
        (NewRoom(name="R", room_volume_m3=0), "room_volume_m3", "The volume is 0 m³; it must be above zero."),
        (NewRoom(name="R", length_m=-4), "length_m", "The length is -4 m; it must be above zero."),
        (
            NewRoom(name="R", length_m=4, width_m=3, height_m=2, room_volume_m3=30),
            "room_volume_m3",
            "The volume is 30 m³, more than length × width × height = 24 m³. Correct the dimensions "
            "or the volume.",
        ),
        (
            NewRoom(name="R", room_volume_m3=30, room_volume_uncertainty_m3=-1),
            "room_volume_uncertainty_m3",
            "The uncertainty of the volume is -1 m³; it must be zero or above.",
        ),
    ],
)  # fmt: skip
def test_a_room_that_cannot_be_is_refused(session: Session, new: NewRoom, field: str, message: str):
    with pytest.raises(InvalidValue) as refused:
        add_room(session, new)
    assert refused.value.field == field
    assert refused.value.message.startswith(message)


def test_rooms_are_found_and_changed_by_name(session: Session, small_bench: SmallBench):
    assert find_room(session, "ROOM a") == small_bench.room_id
    with pytest.raises(AlreadyStored, match="A room 'room A' already exists"):
        add_room(session, NewRoom(name="room A", room_volume_m3=10))
    change_room(session, small_bench.room_id, {"furniture": "empty"}, who="Ann")
    assert changes_of(session, "room", small_bench.room_id)[0].before == "a table and a chair"
    with pytest.raises(InvalidValue, match="A room has no field 'doors'; its fields are: name, length_m"):
        change_room(session, small_bench.room_id, {"doors": 2})
    with pytest.raises(NotFound, match="There is no room 55"):
        get_room(session, 55)


def test_smoke_sources_have_an_aerosol(session: Session, small_bench: SmallBench):
    assert find_smoke_source(session, "Incense") == small_bench.smoke_source_id
    add_smoke_source(session, NewSmokeSource(name="test dust", aerosol="dust"))
    with pytest.raises(AlreadyStored, match="A smoke source 'test dust' already exists"):
        add_smoke_source(session, NewSmokeSource(name="test dust", aerosol="dust"))
    with pytest.raises(InvalidValue, match="The aerosol is 'steam'; choose one of: smoke, dust, pollen"):
        add_smoke_source(session, NewSmokeSource(name="kettle", aerosol="steam"))


def test_loggers_are_kept_with_what_is_known_of_them(session: Session, small_bench: SmallBench):
    logger_id = add_logger(session, NewLogger(name="Logger B", saturation_level_ug_m3=1000, response_time_s=30))
    assert get_logger(session, logger_id).saturation_level_ug_m3 == 1000
    assert find_logger(session, "logger b") == logger_id
    change_logger(session, logger_id, {"calibration": "2026"}, who="Ann")
    assert changes_of(session, "logger", logger_id)[0].after == "2026"
    with pytest.raises(AlreadyStored, match="A logger 'LOGGER B' already exists"):
        add_logger(session, NewLogger(name="LOGGER B"))
    with pytest.raises(InvalidValue, match="The response time is -1 s; it must be zero or above"):
        add_logger(session, NewLogger(name="Logger C", response_time_s=-1))
    with pytest.raises(NotFound, match="There is no logger profile 9"):
        add_logger(session, NewLogger(name="Logger C", profile_id=9))
    with pytest.raises(InvalidValue, match="A logger has no field 'age'; its fields are: name, profile_id"):
        change_logger(session, logger_id, {"age": 3})
    with pytest.raises(NotFound, match="There is no logger 44"):
        get_logger(session, 44)


def test_nobody_named_is_the_desk(session: Session):
    unit_id = add_unit(session, NewUnit(maker="A", model="B"), who="  ")
    assert changes_of(session, "unit under test", unit_id)[0].who == "desk"


def test_texts_lose_the_blanks_around_them():
    assert optional_text("  a note ", "notes", "The notes") == "a note"
    assert optional_text(None, "notes", "The notes") == ""

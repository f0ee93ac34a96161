"""The day of the newest datum: of what is asked for, and of the units that are asked for."""

from datetime import date

from sqlalchemy.orm import Session

from app.services.newest_datum import EVERYTHING, POWER, PRICES, SOUND, newest_datum
from tests.services.measured_facts import DAY, add_power, add_price, add_sound, add_unit_with_setting


def test_only_the_kinds_and_units_asked_for_count(session: Session):
    one, setting = add_unit_with_setting(session, "One")
    other, _ = add_unit_with_setting(session, "Other")
    add_sound(session, one, setting, 40.0, measured_on=date(2026, 1, 5))
    add_power(session, one, setting, 30.0)
    add_price(session, one, 90.0, seen_on=date(2026, 2, 20))
    add_price(session, other, 80.0, seen_on=date(2026, 6, 1))
    assert newest_datum(session, (SOUND,), [one]) == date(2026, 1, 5)
    assert newest_datum(session, (SOUND, POWER), [one]) == DAY
    assert newest_datum(session, (PRICES,), [one]) == date(2026, 2, 20)
    assert newest_datum(session, EVERYTHING) == date(2026, 6, 1)


def test_an_empty_bench_has_no_day(session: Session):
    assert newest_datum(session, EVERYTHING) is None

"""The day of the newest datum: of what is asked for, and of the units that are asked for."""

from datetime import date

from sqlalchemy import Engine, delete
from sqlalchemy.orm import Session

from app.services.history.latest_data_date import EVERYTHING, POWER, PRICES, SOUND, latest_data_date
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.units.consumables import add_consumable, add_consumable_price
from app.services.units.definitions import NewConsumable, NewPrice
from app.storage.engine import session_scope
from app.storage.models.units_under_test import ConsumablePrice
from tests.sample_data.measured_facts import DAY, add_power, add_price, add_sound, add_unit_with_setting


def test_only_the_kinds_and_units_asked_for_count(session: Session):
    one, setting = add_unit_with_setting(session, "One")
    other, _ = add_unit_with_setting(session, "Other")
    add_sound(session, one, setting, 40.0, measured_on=date(2026, 1, 5))
    add_power(session, one, setting, 30.0)
    add_price(session, one, 90.0, seen_on=date(2026, 2, 20))
    add_price(session, other, 80.0, seen_on=date(2026, 6, 1))
    assert latest_data_date(current_snapshot(session), (SOUND,), [one]) == date(2026, 1, 5)
    assert latest_data_date(current_snapshot(session), (SOUND, POWER), [one]) == DAY
    assert latest_data_date(current_snapshot(session), (PRICES,), [one]) == date(2026, 2, 20)
    assert latest_data_date(current_snapshot(session), EVERYTHING) == date(2026, 6, 1)


def test_an_empty_bench_has_no_day(session: Session):
    assert latest_data_date(current_snapshot(session), EVERYTHING) is None


def test_of_the_whole_bench_it_follows_every_change(store: Engine):
    def newest() -> date | None:
        with session_scope(store, writes=False) as session:
            return latest_data_date(current_snapshot(session), (PRICES, SOUND))

    assert newest() is None
    with session_scope(store) as session:
        unit, setting = add_unit_with_setting(session, "One")
        add_price(session, unit, 90.0, seen_on=date(2026, 2, 20))
        add_sound(session, unit, setting, 40.0, measured_on=date(2026, 1, 5))
    assert newest() == date(2026, 2, 20)
    with session_scope(store) as session:
        part = add_consumable(session, unit, NewConsumable(name="filter", life_months=6.0))
        add_consumable_price(
            session, part, NewPrice(amount=40.0, currency="USD", seen_on=date(2026, 3, 1), source="list")
        )
    assert newest() == date(2026, 3, 1)
    with session_scope(store) as session:
        session.execute(delete(ConsumablePrice))
    assert newest() == date(2026, 2, 20)

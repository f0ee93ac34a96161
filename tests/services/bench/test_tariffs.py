from datetime import date

import pytest

from app.errors import AlreadyStored, InvalidValue
from app.services.bench.definitions import NewTariff
from app.services.bench.tariffs import SUBJECT, add_tariff
from app.services.store.audit import changes_of

DAY = date(2026, 1, 1)


def test_a_tariff_is_stored_with_its_standing_and_recorded(session):
    tariff_id = add_tariff(
        session,
        NewTariff(
            region="Northland", price_per_kwh=0.21, currency="usd", valid_from=DAY, source="bill", standing="own bill"
        ),
        who="Ada",
    )
    change = changes_of(session, SUBJECT, tariff_id)[0]
    assert (change.who, change.field, change.after) == ("Ada", "Northland", "0.21 USD/kWh from 2026-01-01")


def test_one_price_a_region_and_day(session):
    add_tariff(
        session, NewTariff(region="Northland", price_per_kwh=0.21, currency="USD", valid_from=DAY, source="bill")
    )
    with pytest.raises(AlreadyStored, match="Northland already has a tariff from 2026-01-01"):
        add_tariff(
            session, NewTariff(region="Northland", price_per_kwh=0.22, currency="USD", valid_from=DAY, source="bill")
        )


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"region": " "}, "The region is empty"),
        ({"price_per_kwh": None}, "The price per kilowatt-hour is missing"),
        ({"price_per_kwh": -0.1}, "The price per kilowatt-hour is -0.1 USD; it must be zero or above"),
        ({"currency": "dollar"}, "The currency is 'dollar'"),
        ({"source": " "}, "The tariff has no source. Enter where it was seen, such as a shop, a list or a bill"),
        ({"valid_from": None}, "The tariff has no date"),
        ({"standing": "rumour"}, "The basis of the tariff is 'rumour'; choose one of"),
    ],
)
def test_impossible_tariffs_are_refused(session, fields, message):
    values = {
        "region": "Northland",
        "price_per_kwh": 0.2,
        "currency": "USD",
        "valid_from": DAY,
        "source": "bill",
    } | fields
    with pytest.raises(InvalidValue, match=message):
        add_tariff(session, NewTariff(**values))

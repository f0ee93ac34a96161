"""Imports the reference table of electricity prices into the bench's tariffs, with its verification status."""

from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.services.bench.definitions import NewTariff
from app.services.bench.tariffs import add_tariff
from app.services.bench.us_residential_prices import CENTS_BY_STATE_2023, NATIONAL_CENTS_BY_YEAR, SOURCE
from app.services.store.audit import AT_THE_DESK
from app.storage.models.bench import Tariff

CURRENCY = "USD"
NATION = "United States, mean"


def bring_in_reference_tariffs(session: Session, *, who: str = AT_THE_DESK) -> int:
    """Adds the missing tariffs of the reference table and returns their number."""
    rows = [(f"US, {state}", date(2023, 1, 1), cents, "read") for state, cents in CENTS_BY_STATE_2023.items()]
    rows += [(NATION, date(year, 1, 1), cents, "from memory") for year, cents in NATIONAL_CENTS_BY_YEAR.items()]
    present = {(region, day) for region, day in session.execute(select(Tariff.region, Tariff.valid_from))}
    missing = [row for row in rows if (row[0], row[1]) not in present]
    for region, day, cents, standing in missing:
        price = round(cents / 100, 6)
        new = NewTariff(
            region=region, price_per_kwh=price, currency=CURRENCY, valid_from=day, source=SOURCE, standing=standing
        )
        add_tariff(session, new, who=who)
    return len(missing)

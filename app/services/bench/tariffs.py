"""Electricity tariffs by region and date, each with source and verification status; older ones are kept."""

from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import (
    currency_code,
    day_valid_from,
    number_not_below_zero,
    one_of,
    required_text,
    source_text,
)
from app.storage.models.tariffs import Tariff

SUBJECT = "tariff"
STANDINGS = ("", "read", "read second-hand", "from memory", "own bill")


def add_tariff(
    session: Session,
    region: str,
    price_per_kwh: float | None,
    currency: str,
    valid_from: date | None,
    *,
    source: str = "",
    standing: str = "",
    who: str = AT_THE_DESK,
) -> int:
    """Adds a price per kilowatt-hour from a date on and returns its id.

    The date may lie in the future; the bench can use the tariff once it is valid.

    Raises InvalidValue, naming the field; AlreadyStored if the region has a price from that date.
    """
    name = required_text(region, "region", "The region")
    day = day_valid_from(valid_from, "valid_from", "The tariff")
    if session.scalar(select(Tariff.id).where(Tariff.region == name, Tariff.valid_from == day)):
        raise AlreadyStored(
            f"{name} has a tariff from {day.isoformat()} already. Give the new one another day or region.",
            field="region",
        )
    code = currency_code(currency)
    tariff = Tariff(
        region=name,
        currency=code,
        price_per_kwh=number_not_below_zero(price_per_kwh, "price_per_kwh", "The price of a kilowatt-hour", code),
        valid_from=day,
        source=source_text(source, "tariff_source", "The tariff"),
        standing=one_of(standing, STANDINGS, "standing", "The standing of the tariff"),
    )
    session.add(tariff)
    session.flush()
    after = f"{tariff.price_per_kwh:g} {code}/kWh from {day.isoformat()}"
    record_change(session, who, "added", SUBJECT, tariff.id, name, None, after)
    return tariff.id

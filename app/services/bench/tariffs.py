"""Electricity tariffs by region and date, each with source and verification status; older ones are kept."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored
from app.services.bench.definitions import NewTariff
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import checked_entry
from app.storage.models.bench import Tariff

SUBJECT = "tariff"


def add_tariff(session: Session, new: NewTariff, *, who: str = AT_THE_DESK) -> int:
    """Adds the price of a kilowatt-hour from a day on and returns its id.

    The date may lie in the future; the bench can use the tariff once it is valid.

    Raises InvalidValue, naming the field; AlreadyStored if the region has a price from that date.
    """
    tariff = Tariff(**checked_entry(new))
    name, day = tariff.region, tariff.valid_from.isoformat()
    if session.scalar(select(Tariff.id).where(Tariff.region == name, Tariff.valid_from == tariff.valid_from)):
        raise AlreadyStored(
            f"{name} already has a tariff from {day}. Give the new one another date or region.", field="region"
        )
    session.add(tariff)
    session.flush()
    after = f"{tariff.price_per_kwh:g} {tariff.currency}/kWh from {day}"
    record_change(session, who, "added", SUBJECT, tariff.id, name, None, after)
    return tariff.id

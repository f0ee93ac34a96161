"""Prices of units, each with date, currency and source; older ones are kept."""

from sqlalchemy.orm import Session

from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import checked_entry
from app.services.units.definitions import NewPrice
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.units_under_test import ConsumablePrice, Price


def add_price(session: Session, unit_id: int, new: NewPrice, *, who: str = AT_THE_DESK) -> int:
    """Adds a price and returns its id; the newest day counts as today's price.

    Raises InvalidValue, naming the field, for a future date or a missing source.
    """
    get_unit(session, unit_id)
    price = Price(unit_under_test_id=unit_id, **checked_entry(new))
    session.add(price)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "price", None, price_words(price))
    return price.id


def price_words(price: Price | ConsumablePrice) -> str:
    """A price as the record of changes keeps it."""
    return f"{price.amount:.2f} {price.currency} on {price.seen_on.isoformat()}"

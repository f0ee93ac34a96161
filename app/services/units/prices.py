"""Prices of units, each with date, currency and source; older ones are kept."""

from datetime import date

from sqlalchemy.orm import Session

from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import currency_code, day_seen, number_not_below_zero, source_text
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.units_under_test import Price


def add_price(
    session: Session,
    unit_id: int,
    amount: float | None,
    currency: str,
    seen_on: date | None,
    source: str = "",
    *,
    who: str = AT_THE_DESK,
) -> int:
    """Adds a price and returns its id; the latest date is the current price.

    Raises InvalidValue, naming the field, for a future date or a missing source.
    """
    get_unit(session, unit_id)
    price = Price(
        unit_under_test_id=unit_id,
        amount=number_not_below_zero(amount, "price", "The price", currency),
        currency=currency_code(currency),
        seen_on=day_seen(seen_on, "price_seen_on", "The price"),
        source=source_text(source, "price_source", "The price"),
    )
    session.add(price)
    session.flush()
    after = f"{price.amount:.2f} {price.currency} on {price.seen_on.isoformat()}"
    record_change(session, who, "added", SUBJECT, unit_id, "price", None, after)
    return price.id

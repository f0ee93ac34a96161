"""Date of the latest data behind a chart or table; shown on downloads instead of today's date."""

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from functools import partial
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.services.snapshot.read_cache import kept_by_unit
from app.storage.models.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price

TRIALS, SOUND, POWER, PRICES, STATEMENTS = "trials", "sound", "power", "prices", "statements"
EVERYTHING = (TRIALS, SOUND, POWER, PRICES, STATEMENTS)


def latest_data_date(session: Session, kinds: Collection[str], unit_ids: Collection[int] | None = None) -> date | None:
    """Latest date among data of these kinds, of some units or the whole bench; None without data."""
    of_units = None if unit_ids is None else list(unit_ids)
    return latest_of(_latest_of_kind(session, kind, of_units) for kind in kinds)


def _latest_of_kind(session: Session, kind: str, unit_ids: list[int] | None) -> date | None:
    """For the whole bench it is cached by unit, where the store counts changes of such data."""
    if unit_ids is None and kind in (SOUND, POWER, PRICES):
        return latest_of(kept_by_unit(session, ("newest datum", kind), partial(_by_unit, session, kind)).values())
    found = []
    for asked in _DATA[kind]:
        latest = session.scalar(asked.newest if unit_ids is None else asked.newest.where(asked.unit.in_(unit_ids)))
        found.append(latest.date() if isinstance(latest, datetime) else latest)
    return latest_of(found)


def _by_unit(session: Session, kind: str, unit_ids: Collection[int] | None) -> Mapping[int, date]:
    found: dict[int, date] = {}
    for asked in _DATA[kind]:
        statement = asked.by_unit if unit_ids is None else asked.by_unit.where(asked.unit.in_(unit_ids))
        for unit, latest in session.execute(statement):
            found[unit] = max(latest, found.get(unit, latest))
    return found


def latest_of(days: Iterable[date | str | None]) -> date | None:
    """The latest of some dates, which may be ISO text; None where none is known.

    >>> latest_of([None, "2026-03-02", date(2026, 1, 5)])
    datetime.date(2026, 3, 2)
    """
    known = [date.fromisoformat(day[:10]) if isinstance(day, str) else day for day in days if day is not None]
    return max(known, default=None)


class _Asked:
    """Where dates of one kind of data are stored, with the prepared queries."""

    def __init__(self, day: Any, unit: InstrumentedAttribute[Any], joined: Select[Any] | None = None) -> None:
        source = select(day) if joined is None else joined
        self.unit = unit
        self.newest = source.with_only_columns(func.max(day), maintain_column_froms=True)
        self.by_unit = source.with_only_columns(unit, func.max(day), maintain_column_froms=True).group_by(unit)


_DATA = {
    TRIALS: (
        _Asked(
            Trial.started_at,
            Trial.unit_under_test_id,
            select(Trial.id).where(Trial.trashed_at.is_(None), Trial.excluded_at.is_(None)),
        ),
    ),
    SOUND: (_Asked(SoundMeasurement.measured_on, SoundMeasurement.unit_under_test_id),),
    POWER: (_Asked(PowerMeasurement.measured_on, PowerMeasurement.unit_under_test_id),),
    PRICES: (
        _Asked(Price.seen_on, Price.unit_under_test_id),
        _Asked(
            ConsumablePrice.seen_on,
            Consumable.unit_under_test_id,
            select(ConsumablePrice.id).join(Consumable, Consumable.id == ConsumablePrice.consumable_id),
        ),
    ),
    STATEMENTS: (
        _Asked(Claim.seen_on, Claim.unit_under_test_id),
        _Asked(Rating.seen_on, Rating.unit_under_test_id),
    ),
}

"""The day of the newest datum behind a chart or a table: it stands on what is taken away, in place of today."""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.storage.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.ratings_and_claims import Claim, Rating
from app.storage.trials import Trial
from app.storage.units_under_test import Consumable, ConsumablePrice, Price

TRIALS, SOUND, POWER, PRICES, STATEMENTS = "trials", "sound", "power", "prices", "statements"
EVERYTHING = (TRIALS, SOUND, POWER, PRICES, STATEMENTS)


def newest_datum(session: Session, kinds: Collection[str], unit_ids: Collection[int] | None = None) -> date | None:
    """Latest day among data of these kinds, of these units or of the whole bench; None where there is none."""
    found: list[date | None] = []
    for kind in kinds:
        for statement, unit_column in _STATEMENTS[kind]():
            asked = statement if unit_ids is None else statement.where(unit_column.in_(unit_ids))
            latest = session.scalar(asked)
            found.append(latest.date() if isinstance(latest, datetime) else latest)
    return latest_of(found)


def latest_of(days: Iterable[date | str | None]) -> date | None:
    """The latest of some days, which may be ISO text; None where none is known.

    >>> latest_of([None, "2026-03-02", date(2026, 1, 5)])
    datetime.date(2026, 3, 2)
    """
    known = [date.fromisoformat(day[:10]) if isinstance(day, str) else day for day in days if day is not None]
    return max(known, default=None)


_Statements = list[tuple[Select[Any], InstrumentedAttribute[Any]]]


def _trials() -> _Statements:
    kept = select(func.max(Trial.started_at)).where(Trial.trashed_at.is_(None), Trial.excluded_at.is_(None))
    return [(kept, Trial.unit_under_test_id)]


def _sound() -> _Statements:
    return [(select(func.max(SoundMeasurement.measured_on)), SoundMeasurement.unit_under_test_id)]


def _power() -> _Statements:
    return [(select(func.max(PowerMeasurement.measured_on)), PowerMeasurement.unit_under_test_id)]


def _prices() -> _Statements:
    parts = select(func.max(ConsumablePrice.seen_on)).join(Consumable, Consumable.id == ConsumablePrice.consumable_id)
    return [(select(func.max(Price.seen_on)), Price.unit_under_test_id), (parts, Consumable.unit_under_test_id)]


def _statements() -> _Statements:
    return [
        (select(func.max(Claim.seen_on)), Claim.unit_under_test_id),
        (select(func.max(Rating.seen_on)), Rating.unit_under_test_id),
    ]


_STATEMENTS = {TRIALS: _trials, SOUND: _sound, POWER: _power, PRICES: _prices, STATEMENTS: _statements}

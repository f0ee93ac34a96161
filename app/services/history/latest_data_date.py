"""Date of the latest data behind a chart or table; shown on downloads instead of today's date."""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import InstrumentedAttribute

from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.storage.models.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price

TRIALS, SOUND, POWER, PRICES, STATEMENTS = "trials", "sound", "power", "prices", "statements"
EVERYTHING = (TRIALS, SOUND, POWER, PRICES, STATEMENTS)


def latest_data_date(
    snapshot: BenchSnapshot, kinds: Collection[str], unit_ids: Collection[int] | None = None
) -> date | None:
    """Latest date among data of these kinds, of some units or the whole bench; None without data."""
    if unit_ids is None:
        return latest_of(snapshot.view(_latest_of_bench, kind) for kind in kinds)
    return latest_of(_latest_of_kind(snapshot, kind, list(unit_ids)) for kind in kinds)


def _latest_of_bench(snapshot: BenchSnapshot, kind: str) -> date | None:
    return _latest_of_kind(snapshot, kind, None)


def _latest_of_kind(snapshot: BenchSnapshot, kind: str, unit_ids: list[int] | None) -> date | None:
    found = []
    for query, unit in _DATA[kind]:
        latest = snapshot.session.scalar(query if unit_ids is None else query.where(unit.in_(unit_ids)))
        found.append(latest.date() if isinstance(latest, datetime) else latest)
    return latest_of(found)


def latest_of(days: Iterable[date | str | None]) -> date | None:
    """The latest of some dates, which may be ISO text; None where none is known.

    >>> latest_of([None, "2026-03-02", date(2026, 1, 5)])
    datetime.date(2026, 3, 2)
    """
    known = [date.fromisoformat(day[:10]) if isinstance(day, str) else day for day in days if day is not None]
    return max(known, default=None)


# For each kind of data the queries for its latest date, each with the column of the unit.
_DATA: dict[str, tuple[tuple[Select[Any], InstrumentedAttribute[Any]], ...]] = {
    TRIALS: (
        (
            select(func.max(Trial.started_at)).where(Trial.trashed_at.is_(None), Trial.excluded_at.is_(None)),
            Trial.unit_under_test_id,
        ),
    ),
    SOUND: ((select(func.max(SoundMeasurement.measured_on)), SoundMeasurement.unit_under_test_id),),
    POWER: ((select(func.max(PowerMeasurement.measured_on)), PowerMeasurement.unit_under_test_id),),
    PRICES: (
        (select(func.max(Price.seen_on)), Price.unit_under_test_id),
        (
            select(func.max(ConsumablePrice.seen_on)).join(Consumable, Consumable.id == ConsumablePrice.consumable_id),
            Consumable.unit_under_test_id,
        ),
    ),
    STATEMENTS: (
        (select(func.max(Claim.seen_on)), Claim.unit_under_test_id),
        (select(func.max(Rating.seen_on)), Rating.unit_under_test_id),
    ),
}

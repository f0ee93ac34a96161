"""Date of the latest data behind a chart or table; shown on downloads instead of today's date."""

from collections.abc import Collection, Iterable, Mapping
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
    found = [snapshot.by_unit(_latest_by_unit, kind) for kind in kinds]
    return latest_of(days.get(unit_id) for days in found for unit_id in unit_ids)


def _latest_of_bench(snapshot: BenchSnapshot, kind: str) -> date | None:
    return latest_of(snapshot.session.scalar(query) for query, _ in _DATA[kind])


def _latest_by_unit(snapshot: BenchSnapshot, kind: str, unit_ids: Collection[int] | None) -> Mapping[int, date]:
    """Unit id to its latest date among data of a kind, of the units named or of all."""
    days: dict[int, date] = {}
    for query, unit in _DATA[kind]:
        of_units = query.add_columns(unit).where(unit.is_not(None)).group_by(unit)
        wanted = of_units if unit_ids is None else of_units.where(unit.in_(unit_ids))
        for latest, unit_id in snapshot.session.execute(wanted):
            day = latest_of([latest, days.get(unit_id)])
            if day is not None:
                days[unit_id] = day
    return days


def latest_of(days: Iterable[date | str | None]) -> date | None:
    """The latest of some dates, which may be ISO text or times; None where none is known.

    >>> latest_of([None, "2026-03-02", date(2026, 1, 5)])
    datetime.date(2026, 3, 2)
    """
    return max((_date_of(day) for day in days if day is not None), default=None)


def _date_of(day: date | str) -> date:
    if isinstance(day, str):
        return date.fromisoformat(day[:10])
    return day.date() if isinstance(day, datetime) else day


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

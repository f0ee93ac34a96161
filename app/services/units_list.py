"""The units of the bench in short: what they are, and how much is known of each."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.storage.trials import Trial
from app.storage.units_under_test import Price, SpeedSetting, UnitUnderTest


@dataclass(frozen=True, slots=True)
class ListedUnit:
    """One unit. `trials` counts those outside the trash, `price` is the newest in any currency."""

    id: int
    maker: str
    model: str
    kind: str
    settings: tuple[str, ...]
    trials: int
    last_trial_on: date | None
    price: float | None
    price_currency: str
    price_on: date | None
    bought_on: date | None
    in_trash: bool


@dataclass(frozen=True, slots=True)
class UnitsList:
    """A part of the list of units, by maker and model. `total` counts all that pass, `on_bench` all there are."""

    units: tuple[ListedUnit, ...]
    total: int
    on_bench: int
    tested: int
    kinds: tuple[str, ...]
    in_trash: int


def list_units(
    session: Session, *, search: str = "", kind: str = "", trashed: bool = False, limit: int = 100, offset: int = 0
) -> UnitsList:
    """Units whose maker, model or kind holds every word of the search."""
    trials: dict[int | None, tuple[int, date]] = {
        unit_id: (number, last.date())
        for unit_id, number, last in session.execute(
            select(Trial.unit_under_test_id, func.count(), func.max(Trial.started_at))
            .where(Trial.trashed_at.is_(None), Trial.unit_under_test_id.is_not(None))
            .group_by(Trial.unit_under_test_id)
        )
    }
    rows = session.execute(
        select(
            UnitUnderTest.id,
            UnitUnderTest.maker,
            UnitUnderTest.model,
            UnitUnderTest.kind,
            UnitUnderTest.bought_on,
            UnitUnderTest.trashed_at,
        ).order_by(func.lower(UnitUnderTest.maker), func.lower(UnitUnderTest.model))
    ).all()
    kept = [row for row in rows if (row[5] is not None) == trashed]
    words = search.casefold().split()
    found = [
        row
        for row in kept
        if (not kind or row[3] == kind) and all(word in f"{row[1]} {row[2]} {row[3]}".casefold() for word in words)
    ]
    shown = found[offset : offset + limit]
    ids = [row[0] for row in shown]
    settings, prices = _settings(session, ids), _newest_prices(session, ids)
    return UnitsList(
        units=tuple(
            ListedUnit(
                *row[:4],
                settings=settings.get(row[0], ()),
                trials=trials.get(row[0], (0, None))[0],
                last_trial_on=trials[row[0]][1] if row[0] in trials else None,
                price=prices[row[0]][0] if row[0] in prices else None,
                price_currency=prices[row[0]][1] if row[0] in prices else "",
                price_on=prices[row[0]][2] if row[0] in prices else None,
                bought_on=row[4],
                in_trash=trashed,
            )
            for row in shown
        ),
        total=len(found),
        on_bench=sum(1 for row in rows if row[5] is None),
        tested=sum(1 for row in rows if row[5] is None and row[0] in trials),
        kinds=tuple(sorted({row[3] for row in kept})),
        in_trash=sum(1 for row in rows if row[5] is not None),
    )


def _settings(session: Session, unit_ids: list[int]) -> dict[int, tuple[str, ...]]:
    found: dict[int, list[str]] = {}
    for unit_id, name in session.execute(
        select(SpeedSetting.unit_under_test_id, SpeedSetting.name)
        .where(SpeedSetting.unit_under_test_id.in_(unit_ids))
        .order_by(SpeedSetting.position, SpeedSetting.id)
    ):
        found.setdefault(unit_id, []).append(name)
    return {unit_id: tuple(names) for unit_id, names in found.items()}


def _newest_prices(session: Session, unit_ids: list[int]) -> dict[int, tuple[float, str, date]]:
    return {
        unit_id: (amount, currency, seen_on)
        for unit_id, amount, currency, seen_on in session.execute(
            select(Price.unit_under_test_id, Price.amount, Price.currency, Price.seen_on)
            .where(Price.unit_under_test_id.in_(unit_ids))
            .order_by(Price.seen_on, Price.id)
        )
    }


def unit_names(session: Session) -> tuple[tuple[int, str], ...]:
    """Id and name of every unit outside the trash, in the order of the names."""
    unit = UnitUnderTest
    rows = session.execute(
        select(unit.id, unit.maker, unit.model).where(unit.trashed_at.is_(None)).order_by(unit.maker, unit.model)
    ).all()
    return tuple((row.id, f"{row.maker} {row.model}") for row in rows)

"""Units of the bench in brief, with the number of trials and the latest price."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import Price, SpeedSetting, UnitUnderTest


@dataclass(frozen=True, slots=True)
class ListedUnit:
    """One unit. `trials` counts those outside the trash, `price` is the latest in any currency."""

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
    """A page of the list of units, by maker and model. `total` counts the matches, `on_bench` all units."""

    units: tuple[ListedUnit, ...]
    total: int
    on_bench: int
    tested: int
    kinds: tuple[str, ...]
    in_trash: int


class _NamedUnit(NamedTuple):
    """A unit for the list: `words` is the searched text, `place` its position by maker and model."""

    id: int
    maker: str
    model: str
    kind: str
    bought_on: date | None
    in_trash: bool
    words: str
    place: tuple[str, str, int]


class _Part(NamedTuple):
    """Which part of the list is asked for."""

    search: str
    kind: str
    trashed: bool
    limit: int
    offset: int


def list_units(
    snapshot: BenchSnapshot,
    *,
    search: str = "",
    kind: str = "",
    trashed: bool = False,
    limit: int = 100,
    offset: int = 0,
) -> UnitsList:
    """Units whose maker, model or kind contains every word of the search."""
    return snapshot.view(_list, _Part(search, kind, trashed, limit, offset))


def _list(snapshot: BenchSnapshot, asked: _Part) -> UnitsList:
    units = snapshot.by_unit(_named_units, None).values()
    session, (search, kind, trashed, limit, offset) = snapshot.session, asked
    words = search.casefold().split()
    found = [
        unit
        for unit in units
        if unit.in_trash == trashed and (not kind or unit.kind == kind) and all(word in unit.words for word in words)
    ]
    shown = sorted(found, key=lambda unit: unit.place)[offset : offset + limit]
    ids = [unit.id for unit in shown]
    settings, prices, trials = _settings(session, ids), _newest_prices(session, ids), _trials(session, ids)
    on_bench = sum(1 for unit in units if not unit.in_trash)
    return UnitsList(
        units=tuple(
            ListedUnit(
                *(unit.id, unit.maker, unit.model, unit.kind),
                settings=settings.get(unit.id, ()),
                trials=trials.get(unit.id, (0, None))[0],
                last_trial_on=trials[unit.id][1] if unit.id in trials else None,
                price=prices[unit.id][0] if unit.id in prices else None,
                price_currency=prices[unit.id][1] if unit.id in prices else "",
                price_on=prices[unit.id][2] if unit.id in prices else None,
                bought_on=unit.bought_on,
                in_trash=trashed,
            )
            for unit in shown
        ),
        total=len(found),
        on_bench=on_bench,
        tested=session.scalar(_TESTED) or 0,
        kinds=tuple(sorted({unit.kind for unit in units if unit.in_trash == trashed})),
        in_trash=len(units) - on_bench,
    )


_UNITS = select(
    UnitUnderTest.id,
    UnitUnderTest.maker,
    UnitUnderTest.model,
    UnitUnderTest.kind,
    UnitUnderTest.bought_on,
    UnitUnderTest.trashed_at.is_not(None),
)
_TESTED = (
    select(func.count())
    .select_from(UnitUnderTest)
    .where(
        UnitUnderTest.trashed_at.is_(None),
        select(Trial.id).where(Trial.unit_under_test_id == UnitUnderTest.id, Trial.trashed_at.is_(None)).exists(),
    )
)


def _named_units(snapshot: BenchSnapshot, _: None, unit_ids: Collection[int] | None) -> Mapping[int, _NamedUnit]:
    query = _UNITS if unit_ids is None else _UNITS.where(UnitUnderTest.id.in_(unit_ids))
    return {
        row[0]: _NamedUnit(
            *row[:5],
            in_trash=bool(row[5]),
            words=f"{row[1]} {row[2]} {row[3]}".casefold(),
            place=(row[1].lower(), row[2].lower(), row[0]),
        )
        for row in snapshot.session.execute(query)
    }


def _trials(session: Session, unit_ids: list[int]) -> dict[int | None, tuple[int, date]]:
    """Number of trials outside the trash, and the date of the latest."""
    return {
        unit_id: (number, last.date())
        for unit_id, number, last in session.execute(
            select(Trial.unit_under_test_id, func.count(), func.max(Trial.started_at))
            .where(Trial.trashed_at.is_(None), Trial.unit_under_test_id.in_(unit_ids))
            .group_by(Trial.unit_under_test_id)
        )
    }


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
    """Id and name of every unit outside the trash, sorted by name."""
    unit = UnitUnderTest
    rows = session.execute(
        select(unit.id, unit.maker, unit.model).where(unit.trashed_at.is_(None)).order_by(unit.maker, unit.model)
    ).all()
    return tuple((row.id, f"{row.maker} {row.model}") for row in rows)

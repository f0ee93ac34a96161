"""Advice on units for a room: settings with enough air changes, within a sound limit and a budget."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from app.compute.clean_air.room_need import RULE_CEILING_M, RoomNeed, need_by_155_rule, need_by_air_changes
from app.compute.comparison.room_advice import (
    Candidate,
    Fit,
    Point,
    RoomAdvice,
    Wish,
    advice_of,
    advise,
    frontier_of,
    in_order,
    point_of,
    two_of,
)
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue
from app.services.costs.owned_units import rate_of
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EVERY, RankingChoices, read_offered
from app.services.snapshot.setting_rows import RankingRow
from app.services.snapshot.setting_sound import NOT_MEASURED
from app.services.snapshot.stored_units import Conditions, StoredUnit, conditions_of, stored_units

RULE_155, AIR_CHANGES = "1.55 rule", "air changes"
ROOM_RULES = (RULE_155, AIR_CHANGES)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomChoices:
    """The reader's room and limits. Three inputs are enough: floor area, sound limit, budget."""

    room_area_m2: float = 20.0
    max_sound_dba: float | None = 45.0
    max_price: float | None = None
    room_height_m: float = RULE_CEILING_M
    rule: str = RULE_155
    air_changes_per_h: float = 5.0


@dataclass(frozen=True, slots=True)
class UnitsLeftOut:
    """Number of units excluded by one limit: units with no setting within it."""

    field: str
    units: int
    words: str


@dataclass(frozen=True, slots=True)
class AdviceForRoom:
    """The advice, with the data behind it.

    best_of_unit : quietest suitable setting of each unit, cheapest unit first
    strongest_within_limits : strongest within sound limit and budget; None if there is none
    quietest_that_serves : quietest that is strong enough and within the budget; None if there is none
    pairs : settings of which two units are enough but one is not, cheapest first
    frontier : Pareto front of price, sound and clean air
    candidates : all settings considered
    """

    choices: RoomChoices
    need: RoomNeed
    currency: str
    distance_m: float
    advice: RoomAdvice
    best_of_unit: tuple[int, ...]
    strongest_within_limits: Candidate | None
    quietest_that_serves: Candidate | None
    pairs: tuple[Fit, ...]
    frontier: tuple[Candidate, ...]
    candidates: tuple[Candidate, ...]
    units: int
    left_out: tuple[UnitsLeftOut, ...]


def advice_for_room(snapshot: BenchSnapshot, choices: RoomChoices | None = None) -> AdviceForRoom:
    """Advice for a room. Raises InvalidValue, naming the field, for a room or a limit that cannot be."""
    return snapshot.view(_advice, choices or RoomChoices())


class _UnitSettings(NamedTuple):
    """The settings of one unit, in any room; `two` has two of each in one room, `points` is what a frontier is of."""

    name: str
    one: tuple[Candidate, ...]
    two: tuple[Candidate, ...]
    points: tuple[tuple[Point, Candidate], ...]


class _UnitAdvice(NamedTuple):
    """Advice on one unit for given requirements.

    pairs : two units of it, where one is not enough
    fails : limits that all its settings exceed
    strongest, quietest : among its settings that only fail the rate, or only the sound
    """

    advice: RoomAdvice
    pairs: tuple[Fit, ...]
    fails: tuple[str, ...]
    strongest: Candidate | None
    quietest: Candidate | None


class _Judged(NamedTuple):
    """Under which conditions, and for which wish, units are judged."""

    conditions: Conditions
    wish: Wish


def _advice(snapshot: BenchSnapshot, chosen: RoomChoices) -> AdviceForRoom:
    """Put together from what each unit does: after a change only the units that changed are judged again."""
    need = _need(chosen)
    filled, offered = read_offered(snapshot, RankingChoices(setting=EVERY))
    conditions = conditions_of(filled, offered)
    settings = snapshot.by_unit(_settings, conditions)
    judged = snapshot.by_unit(_judged, _Judged(conditions, Wish(need, chosen.max_sound_dba, chosen.max_price)))
    by_name = sorted(settings, key=lambda unit: settings[unit].name)
    units = [judged[unit] for unit in by_name]
    found = advice_of([unit.advice for unit in units])
    return AdviceForRoom(
        choices=chosen,
        need=need,
        currency=offered.currency,
        distance_m=offered.standard_distance_m,
        advice=found,
        best_of_unit=_best_of_unit(found),
        strongest_within_limits=max((u.strongest for u in units if u.strongest), key=_rate, default=None),
        quietest_that_serves=min((u.quietest for u in units if u.quietest), key=_level, default=None),
        pairs=in_order(fit for unit in units for fit in unit.pairs),
        frontier=frontier_of(point for unit in by_name for point in settings[unit].points),
        candidates=tuple(candidate for unit in by_name for candidate in settings[unit].one),
        units=len(units),
        left_out=_left_out(units),
    )


def _settings(
    snapshot: BenchSnapshot, conditions: Conditions, unit_ids: Collection[int] | None
) -> Mapping[int, _UnitSettings]:
    """Every setting by unit and position; units without a setting are left out."""
    units = stored_units(snapshot, conditions)
    asked = units.values() if unit_ids is None else [units[unit_id] for unit_id in unit_ids if unit_id in units]
    return {unit.id: _unit_settings(unit, conditions.currency) for unit in asked if unit.rows[0].setting_id is not None}


def _unit_settings(unit: StoredUnit, currency: str) -> _UnitSettings:
    candidates = tuple(_candidate(unit, row, currency) for row in unit.rows)
    return _UnitSettings(
        unit.name,
        candidates,
        tuple(two_of(one) for one in candidates),
        tuple((point, one) for one in candidates if (point := point_of(one)) is not None),
    )


def _judged(snapshot: BenchSnapshot, asked: _Judged, unit_ids: Collection[int] | None) -> Mapping[int, _UnitAdvice]:
    settings = snapshot.by_unit(_settings, asked.conditions)
    units = settings if unit_ids is None else [unit_id for unit_id in unit_ids if unit_id in settings]
    return {unit_id: _unit_advice(settings[unit_id], asked.wish) for unit_id in units}


def _unit_advice(unit: _UnitSettings, wish: Wish) -> _UnitAdvice:
    found = advise(unit.one, wish)
    failed = [set(left.fields) for left in found.left_out]
    return _UnitAdvice(
        found,
        () if found.fits else advise(unit.two, wish).fits,
        () if found.fits else tuple(set.intersection(*failed)),
        max(_failing_only(found, "rate"), key=_rate, default=None),
        min(_failing_only(found, "sound"), key=_level, default=None),
    )


def _candidate(unit: StoredUnit, row: RankingRow, currency: str) -> Candidate:
    sound = unit.sound_of(row) or NOT_MEASURED
    return Candidate(
        unit=unit.name,
        setting=row.setting or "",
        rate=rate_of(row) or _unmeasurable_rate(row),
        measurable=row.measurable == 1,
        sound_dba=sound.level_dba,
        price=row.price if row.price_currency == currency else None,
        setting_id=row.setting_id or 0,
        unit_id=row.unit_id,
        sound_is_upper_bound=sound.is_upper_bound,
        sound_is_estimate=sound.is_estimate,
        sound_level=sound.level,
    )


def _unmeasurable_rate(row: RankingRow) -> Measured | None:
    """A rate not distinguishable from zero: the reason is not that it is missing."""
    value = row.clean_air_delivery_rate_m3_per_h
    return None if value is None else Measured(value, row.clean_air_delivery_rate_uncertainty or 0.0)


def _need(choices: RoomChoices) -> RoomNeed:
    for field, value, highest, unit in (
        ("room_area_m2", choices.room_area_m2, 10_000.0, "m²"),
        ("room_height_m", choices.room_height_m, 100.0, "m"),
        ("air_changes_per_h", choices.air_changes_per_h, 1000.0, "air changes per hour"),
    ):
        if not 0 < value <= highest:
            raise InvalidValue(f"Found {value:g} {unit}; enter a value above 0 and at most {highest:g}.", field=field)
    for field, limit, unit in (("max_sound_dba", choices.max_sound_dba, "dB(A)"), ("max_price", choices.max_price, "")):
        if limit is not None and not 0 <= limit < float("inf"):
            raise InvalidValue(f"The limit is {limit:g} {unit}; enter zero or above.", field=field)
    if choices.rule == RULE_155:
        return need_by_155_rule(choices.room_area_m2, choices.room_height_m)
    if choices.rule == AIR_CHANGES:
        return need_by_air_changes(choices.room_area_m2, choices.room_height_m, choices.air_changes_per_h)
    raise InvalidValue(f"The rule is {choices.rule!r}; choose one of: {', '.join(ROOM_RULES)}.", field="rule")


def _best_of_unit(found: RoomAdvice) -> tuple[int, ...]:
    """Setting ids: for each suitable unit its quietest suitable setting, in the order of the advice."""
    quietest: dict[int, tuple[float, int]] = {}
    order = list(dict.fromkeys(fit.candidate.unit_id for fit in found.fits))
    for fit in found.fits:
        c = fit.candidate
        key = (float("inf") if c.sound_dba is None else c.sound_dba, c.setting_id)
        quietest[c.unit_id] = min(quietest.get(c.unit_id, key), key)
    return tuple(quietest[unit_id][1] for unit_id in order)


def _failing_only(found: RoomAdvice, field: str) -> list[Candidate]:
    """Measured settings that fail exactly one limit: the nearest alternatives."""
    left = [entry.candidate for entry in found.left_out if entry.fields == (field,)]
    return [c for c in left if c.measurable and (field != "sound" or c.sound_dba is not None)]


def _rate(candidate: Candidate) -> float:
    return candidate.rate.value if candidate.rate is not None else 0.0


def _level(candidate: Candidate) -> float:
    return candidate.sound_dba or 0.0


def _left_out(units: Sequence[_UnitAdvice]) -> tuple[UnitsLeftOut, ...]:
    """Units with every setting beyond a limit, counted for each limit; a unit may count under several."""
    words = {
        "rate": "too weak, or not measured, at every setting",
        "sound": "too loud, or not measured, at every setting",
        "price": "too expensive, or without a price",
    }
    counts = Counter(field for unit in units for field in unit.fails)
    return tuple(UnitsLeftOut(field, counts[field], words[field]) for field in words if counts[field])

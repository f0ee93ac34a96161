"""The published numbers of each setting, from the lines of the ranking."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from app.compute.cost_and_energy.cost_over_years import cost_over_years
from app.errors import InvalidValue
from app.reading_files.headers.channels import channel
from app.services.costs.choices import OwningChoices, OwningTerms, owning_terms
from app.services.costs.owned_units import UnitAtSetting, owned_units, owning_conditions
from app.services.publishing.numbers.published_number import PublishedNumber, significant
from app.services.publishing.numbers.sources import Sources, read_sources
from app.services.ranking.extra_columns import ExtraFacts, extra_facts
from app.services.ranking.rows import RankedSetting, read_ranking_table
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.services.snapshot.choices import EVERY, Offered, RankingChoices, filled_choices

_COVERAGE_95 = 1.959963984540054


class _Quantity(NamedTuple):
    """One quantity of a line: its column in the ranking, name, unit of measure, what is shown, and what is behind it.

    kinds : kinds of sources in `Sources`
    """

    key: str
    name: str
    unit: str
    shown: dict[str, Any] | None
    kinds: tuple[str, ...]


def setting_numbers(session: Session) -> Iterator[PublishedNumber]:
    """Every setting of every unit outside the trash, in the main channel; and the cost over the years of each unit."""
    snapshot = current_snapshot(session)
    table = read_ranking_table(snapshot, RankingChoices(setting=EVERY))
    filled = filled_choices(RankingChoices(setting=EVERY), table.offered)
    sources = read_sources(session, filled, table.offered)
    for line, further in zip(table.lines, extra_facts(snapshot, table.lines), strict=True):
        if line.row.setting_id is not None:
            yield from _of_line(line, further, table.offered, sources)
    yield from _over_years(session, snapshot, sources)
    yield from _prices(table.lines, table.offered, sources)


def _of_line(line: RankedSetting, further: ExtraFacts, offered: Offered, sources: Sources) -> Iterator[PublishedNumber]:
    row = line.row
    for quantity in (*_cleaning(line, sources), *_sound_and_power(line, offered), *_costs(line, further, offered)):
        if quantity.shown is None:
            continue
        of_trials = "trials" in quantity.kinds
        yield PublishedNumber(
            key=f"unit/{row.unit_id}/setting/{row.setting_id}/{quantity.key}",
            unit_id=row.unit_id,
            trial_id=None,
            item=f"{row.maker} {row.model}",
            of=row.setting or "",
            quantity=quantity.name,
            unit_of_measure=quantity.unit,
            **quantity.shown,
            trials=sources.trials_of(row.setting_id or 0) if of_trials else (),
            based_on=sources.of_row(row, quantity.kinds),
            method_version=sources.method_of(row.summary_id) if of_trials else "",
        )


def _parts(
    value: float | None,
    uncertainty: float | None = None,
    low: float | None = None,
    high: float | None = None,
    bound: str = "",
) -> dict[str, Any] | None:
    if value is None:
        return None
    numbers = {"value": value, "uncertainty": uncertainty, "low_95": low, "high_95": high}
    return {name: significant(number) for name, number in numbers.items()} | {"bound": bound}


def _cleaning(line: RankedSetting, sources: Sources) -> list[_Quantity]:
    row = line.row
    rate = _parts(
        row.clean_air_delivery_rate_m3_per_h,
        row.clean_air_delivery_rate_uncertainty,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    if not line.has_rate and rate is not None:
        limit = row.at_most_m3_per_h if row.at_most_m3_per_h is not None else row.clean_air_delivery_rate_high_95
        rate = _parts(limit, None, None, None, "at most")
    volume, air_changes = sources.room_volume_m3, None
    if rate is not None and line.has_rate and volume:  # the volume counts as exact, as in the ranking
        names = ("value", "uncertainty", "low_95", "high_95")
        air_changes = {name: None if rate[name] is None else significant(rate[name] / volume) for name in names}
    level_unit = channel(sources.channel).unit
    beyond = line.time_lies_beyond_min
    standard = _parts(
        row.standard_clearing_time_min,
        None,
        row.standard_clearing_time_low_95_min,
        row.standard_clearing_time_high_95_min,
        "" if beyond is None else "estimated",
    )
    clear = _parts(row.time_to_clear_min, None, row.time_to_clear_low_min, row.time_to_clear_high_min)
    of_clear = ("trials", "repeatability of times") if row.time_to_clear_low_min is not None else ("trials",)
    if clear is None:
        clear = _parts(row.not_cleared_before_min, None, None, None, "more than")
    fitted, counted = ("trials", "pool", "room", "repeatability"), ("trials",)
    decay = ("trials", "repeatability")
    return [
        _Quantity("clean_air_delivery_rate", "Clean air delivery rate", "m³/h", rate, fitted),
        _Quantity("air_changes", "Air changes", "1/h", air_changes, fitted),
        _Quantity("standard_clearing_time", "Time to 95 % reduction", "min", standard, decay),
        _Quantity("time_to_clear", "Time to clear", "min", clear, of_clear),
        _Quantity("start_level_low", "Lowest start level", level_unit, _parts(row.start_level_low), counted),
        _Quantity("start_level_high", "Highest start level", level_unit, _parts(row.start_level_high), counted),
    ]


def _sound_and_power(line: RankedSetting, offered: Offered) -> list[_Quantity]:
    row, sound, level = line.row, line.sound, None
    if sound is not None and sound.level_dba is not None:
        bound = " ".join(
            word for word, so in (("estimated", sound.is_estimate), ("at most", sound.is_upper_bound)) if so
        )
        low, high = (None, None) if sound.level is None else sound.level.interval_95
        level = _parts(sound.level_dba, sound.uncertainty_db, low, high, bound)
    distance = f"Sound at {offered.standard_distance_m:g} m"
    return [
        _Quantity("sound", distance, "dB(A)", level, ("sound", "sound rule")),
        _Quantity("power", "Power", "W", _normal(row.power_w, row.power_uncertainty_w), ("power",)),
        _Quantity(
            "standby_power", "Standby power", "W",
            _normal(row.standby_power_w, row.standby_power_uncertainty_w), ("standby",),
        ),
    ]  # fmt: skip


def _normal(value: float | None, uncertainty: float | None) -> dict[str, Any] | None:
    if value is None or uncertainty is None:
        return _parts(value)
    half = _COVERAGE_95 * uncertainty
    return _parts(value, uncertainty, max(0.0, value - half), value + half)


def _costs(line: RankedSetting, further: ExtraFacts, offered: Offered) -> list[_Quantity]:
    cost, running, bound = line.cost, None, ""
    if cost is not None and not (cost.at_least and cost.total_per_year == 0):
        bound = "at least" if cost.at_least else ""
        running = _parts(cost.total_per_year, cost.uncertainty_per_year, *cost.interval_95, bound)
    of_cost = ("power", "standby", "tariff", "use", "parts")
    of_rate = ("trials", "pool", "room", "repeatability")
    federal = None if further.federal is None else further.federal.integrated_energy_factor_cfm_per_w
    return [
        _Quantity("running_cost", "Running cost", f"{offered.currency}/year", running, of_cost),
        _Quantity(
            "clean_air_per_watt", "Clean air per watt", "m³/(h W)", _measured(further.per_watt), (*of_rate, "power")
        ),
        _Quantity(
            "clean_air_cost", "1,000 m³ of clean air", offered.currency,
            _measured(further.clean_air_cost), (*of_rate, *of_cost),
        ),
        _Quantity(
            "federal_energy_factor", "US federal energy factor", "cfm/W", _parts(federal),
            ("rating", "power", "standby"),
        ),
    ]  # fmt: skip


def _measured(measured: Any) -> dict[str, Any] | None:
    if measured is None:
        return None
    return _parts(measured.value, measured.uncertainty, *measured.interval_95)


def _over_years(session: Session, snapshot: BenchSnapshot, sources: Sources) -> Iterator[PublishedNumber]:
    try:
        terms: OwningTerms = owning_terms(session, OwningChoices())
    except InvalidValue:  # no electricity price yet
        return
    units = owned_units(snapshot, owning_conditions(snapshot, terms))
    for unit_id, unit in units.items():
        if not isinstance(unit, UnitAtSetting):
            continue
        years = terms.choices.years
        cost = cost_over_years(unit.owned, terms.assumptions, years, with_curve=False)
        yield PublishedNumber(
            key=f"unit/{unit_id}/cost_over_years",
            unit_id=unit_id,
            trial_id=None,
            item=unit.name,
            of="",
            quantity=f"Cost over {years} years with purchase",
            unit_of_measure=terms.assumptions.currency,
            **(_parts(cost.total, None, *cost.interval_95, "at least" if cost.at_least else "") or {}),
            based_on=sources.of_row(unit.row, ("price", "power", "standby", "tariff", "use", "parts")),
        )


def _prices(lines: tuple[RankedSetting, ...], offered: Offered, sources: Sources) -> Iterator[PublishedNumber]:
    """The latest price of each unit in the bench's currency; other currencies are not converted."""
    for row in {line.row.unit_id: line.row for line in lines}.values():
        if row.price is not None and row.price_currency == offered.currency:
            yield PublishedNumber(
                key=f"unit/{row.unit_id}/price",
                unit_id=row.unit_id,
                trial_id=None,
                item=f"{row.maker} {row.model}",
                of="",
                quantity="Price",
                unit_of_measure=offered.currency,
                value=significant(row.price),
                based_on=sources.of_row(row, ("price",)),
            )

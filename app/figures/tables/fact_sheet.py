"""All measurements of one unit as a table for download: a row per quantity, with its source."""

from collections.abc import Mapping, Sequence

from app.compute.wording.numbers import counted, listed
from app.figures.tables.quantity_cells import (
    cost_cell,
    measured,
    price_cell,
    rate_cell,
    standard_time_cell,
    text_cell,
    time_to_clear_cell,
)
from app.figures.tables.ranking import conditions_text
from app.figures.tables.table import (
    AT_LEAST,
    AT_MOST,
    ESTIMATE,
    ESTIMATED_AT_MOST,
    ExportCell,
    ExportColumn,
    ExportTable,
    plain_cell,
)
from app.services.bench.chart_facts import ChartFacts
from app.services.history.latest_data_date import latest_of
from app.services.measurements.sound_levels import SettingLevel
from app.services.reviews.unit_overview import UnitOverview

_COLUMNS = (
    ExportColumn("quantity", "Quantity", is_number=False),
    ExportColumn("setting", "Setting", is_number=False),
    ExportColumn("value", "Value", with_interval=True),
    ExportColumn("unit", "Unit", is_number=False),
    ExportColumn("rests_on", "Based on", is_number=False),
)
TrialsOf = Mapping[int, Sequence[int]]
_Row = tuple[ExportCell, ...]


def fact_sheet_table(
    known: UnitOverview, trials_of: TrialsOf, facts: ChartFacts, *, flow_factor: float = 1.0, flow_symbol: str = "m³/h"
) -> ExportTable:
    """Quantities without a value are omitted.

    trials_of : setting id to all trials behind its result
    """
    unit, lines = known.unit, known.lines
    rows = [
        *_what_it_is(known),
        *_cleaning(known, trials_of, flow_factor, flow_symbol),
        *_sound(known),
        *_power(known),
        *_cost(known),
    ]
    return ExportTable(
        name="fact-sheet",
        caption=f"{unit.maker} {unit.model}: measurements",
        columns=_COLUMNS,
        rows=tuple(row for row in rows if row[2].value),
        conditions=conditions_text(lines.choices, lines.offered, lines.room),
        source_line=facts.source_line(),
        newest=latest_of(
            [
                *(room.last.date() for room in known.trials_in),
                *(price.seen_on for price in known.prices),
                *(reading.measured_on for level in known.sounds for reading in level.measurements),
                *(reading.measured_on for power in known.powers for reading in power.measurements),
            ]
        ),
    )


def _row(quantity: str, setting: str, value: ExportCell, unit: str, rests_on: str) -> _Row:
    return text_cell(quantity), text_cell(setting), value, text_cell(unit), text_cell(rests_on)


def _what_it_is(known: UnitOverview) -> list[_Row]:
    unit = known.unit
    size = (unit.width_mm, unit.depth_mm, unit.height_mm)
    words = " × ".join(f"{side:.0f}" for side in size if side is not None) if None not in size else ""
    return [
        _row("Type", "", text_cell(unit.kind), "", "recorded"),
        _row("Size", "", text_cell(words), "mm", "recorded"),
        _row("Mass", "", plain_cell(unit.mass_kg), "kg", "recorded"),
    ]


def _cleaning(known: UnitOverview, trials_of: TrialsOf, factor: float, symbol: str) -> list[_Row]:
    rows = []
    for line in known.lines.lines:
        if line.row.setting_id is None:
            continue
        setting, rests_on = line.row.setting or "", trials_text(trials_of.get(line.row.setting_id, ()))
        rows += [
            _row("Clean air delivery rate", setting, rate_cell(line, factor), symbol, rests_on),
            _row("Time to 95\u00a0% reduction", setting, standard_time_cell(line), "min", rests_on),
            _row("Time to clear", setting, time_to_clear_cell(line), "min", rests_on),
        ]
    return rows


def trials_text(ids: Sequence[int]) -> str:
    """The trials of one result."""
    return f"{'trial' if len(ids) == 1 else 'trials'} {listed([str(one) for one in sorted(ids)])}" if ids else ""


def _sound(known: UnitOverview) -> list[_Row]:
    distance = f"Sound at {known.bench.standard_distance_m:g}\u00a0m"
    return [
        _row(distance, level.setting.name, _level(level), "dB(A)", counted(len(level.measurements), "reading"))
        for level in known.sounds
    ]


def _level(level: SettingLevel) -> ExportCell:
    if level.level is None:
        return ExportCell(why="Not measured.")
    if level.level.upper_bound:
        bound = ESTIMATED_AT_MOST if level.level.estimate else AT_MOST
        return plain_cell(level.level.level_dba.value, 0, bound=bound)
    return measured(level.level.level_dba, bound=ESTIMATE if level.level.estimate else "")


def _power(known: UnitOverview) -> list[_Row]:
    return [
        _row(
            "Power",
            power.name,
            ExportCell() if power.power is None else measured(power.power),
            "W",
            counted(len(power.measurements), "reading"),
        )
        for power in known.powers
    ]


def _cost(known: UnitOverview) -> list[_Row]:
    currency = known.lines.offered.currency
    rows = []
    for line in known.lines.lines:
        if line.row.setting_id is not None:
            hours = f"{known.lines.offered.hours_per_day:g} h per day"
            rows.append(_row("Running cost", line.row.setting or "", cost_cell(line), f"{currency}/year", hours))
    if known.lines.lines:
        latest = known.prices[0] if known.prices else None
        seen = "" if latest is None else f"{latest.source or 'price'}, {latest.seen_on.isoformat()}"
        rows.insert(0, _row("Price", "", price_cell(known.lines.lines[0], currency), currency, seen))
    if known.over_years is not None:
        years = len(known.over_years.by_year) - 1
        bound = AT_LEAST if known.over_years.at_least else ""
        total = plain_cell(known.over_years.total, 0, bound=bound)
        rows.append(_row(f"Cost over {years} years with purchase", "highest", total, currency, "current prices"))
    return rows

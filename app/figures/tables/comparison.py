"""Comparison of chosen settings as a table for download: a row per setting, with the findings against the first."""

from app.figures.tables.quantity_cells import (
    air_changes_cell,
    cost_cell,
    measured,
    power_cell,
    price_cell,
    rate_cell,
    sound_cell,
    standard_time_cell,
    text_cell,
    time_to_clear_cell,
)
from app.figures.tables.ranking import conditions_text, quantity_columns
from app.figures.tables.table import ExportCell, ExportColumn, ExportTable
from app.services.bench.chart_facts import ChartFacts
from app.services.history.latest_data_date import latest_of
from app.services.ranking.compared_setting import ComparedSetting
from app.services.ranking.comparison import SettingsCompared


def comparison_table(
    compared: SettingsCompared, facts: ChartFacts, *, flow_factor: float = 1.0, flow_symbol: str = "m³/h"
) -> ExportTable:
    offered, room = compared.offered, compared.room
    volume = None if room is None else room.room_volume_m3
    rows = []
    for number, setting in enumerate(compared.settings):
        line = setting.line
        rows.append(
            (
                text_cell(f"{line.row.maker} {line.row.model}"),
                text_cell(line.row.setting or ""),
                rate_cell(line, flow_factor),
                air_changes_cell(line, volume),
                standard_time_cell(line),
                time_to_clear_cell(line),
                sound_with_interval(setting),
                power_cell(line),
                price_cell(line, offered.currency),
                cost_cell(line),
                text_cell("compared with" if number == 0 else _findings_text(compared, number - 1)),
            )
        )
    first = compared.settings[0].name
    return ExportTable(
        name="comparison",
        caption=f"{len(rows)} settings compared with {first}",
        columns=(
            ExportColumn("unit", "Unit", is_number=False),
            ExportColumn("setting", "Setting", is_number=False),
            *quantity_columns(offered.currency, offered.standard_distance_m, flow_symbol),
            ExportColumn("what_the_data_support", f"Against {first}", is_number=False),
        ),
        rows=tuple(rows),
        conditions=conditions_text(compared.choices, offered, room),
        source_line=facts.source_line(),
        newest=latest_of(day for s in compared.settings for day in (s.line.row.latest_trial_on, s.line.row.price_on)),
    )


def sound_with_interval(setting: ComparedSetting) -> ExportCell:
    """The level with its interval; a bound stays a bound."""
    plain = sound_cell(setting.line)
    if setting.sound is None or setting.sound.level.upper_bound:
        return plain
    return measured(setting.sound.level.level_dba, bound=plain.bound)


def _findings_text(compared: SettingsCompared, number: int) -> str:
    """The sentences of significant differences, or one that there are none."""
    findings = [found[number] for found in compared.findings.values()]
    sentences = [finding.words for finding in findings if finding.told_apart]
    return " ".join(sentences) or "No measured quantity tells the two apart."

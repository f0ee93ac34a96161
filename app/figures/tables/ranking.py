"""The ranking as a table for download: the default columns, or those that a reader selected."""

from collections.abc import Callable, Sequence

from app.compute.wording.rounding import rounded_text
from app.figures.tables.extra_cells import EXTRA_EXPORTS, extra_export_column
from app.figures.tables.quantity_cells import (
    air_changes_cell,
    cost_cell,
    power_cell,
    price_cell,
    rate_cell,
    sound_cell,
    standard_time_cell,
    text_cell,
    time_to_clear_cell,
)
from app.figures.tables.table import ExportCell, ExportColumn, ExportTable, plain_cell
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.history.latest_data_date import latest_of
from app.services.ranking.extra_columns import ExtraFacts
from app.services.ranking.table import RankedSetting, Ranking
from app.services.snapshot.choices import AvailableRoom, Offered, RankingChoices


def quantity_columns(currency: str, distance_m: float, flow_symbol: str) -> tuple[ExportColumn, ...]:
    """Columns of the quantities of a setting, in the order of the ranking page."""
    flow_key = "cfm" if flow_symbol == "cfm" else "m3_per_h"
    return (
        ExportColumn(f"clean_air_delivery_rate_{flow_key}", "Clean air delivery rate", flow_symbol, with_interval=True),
        ExportColumn("air_changes_per_h", "Air changes in the test room", "1/h", with_interval=True),
        ExportColumn("standard_clearing_time_min", "Time to 95\u00a0% reduction", "min", with_interval=True),
        ExportColumn("time_to_clear_min", "Time to clear", "min", with_interval=True),
        ExportColumn("sound_dba", f"Sound at {distance_m:g}\u00a0m", "dB(A)", with_interval=True),
        ExportColumn("power_w", "Power", "W", with_interval=True),
        ExportColumn(f"price_{currency.lower()}", "Price", currency),
        ExportColumn(
            f"running_cost_{currency.lower()}_per_year", "Running cost", f"{currency}/year", with_interval=True
        ),
    )


def conditions_text(choices: RankingChoices, offered: Offered, room: AvailableRoom | None) -> str:
    """The conditions of the numbers, in one sentence."""
    parts = [f"{channel(choices.channel).label} of {choices.aerosol}"]
    if room is not None:
        parts.append(f"in {room.name} ({rounded_text(room.room_volume_m3, 1)}\u00a0m³)")
    if offered.price_per_kwh is not None:
        parts.append(f"electricity at {offered.price_per_kwh:g}\u00a0{offered.currency}/kWh")
        parts.append(f"{offered.hours_per_day:g}\u00a0h per day")
    return f"{', '.join(parts)}. In brackets: 95\u00a0% intervals."


def _volume(ranking: Ranking) -> float | None:
    return None if ranking.room is None else ranking.room.room_volume_m3


# In the order of `quantity_columns`, by the column names of the page.
_CELLS: dict[str, Callable[[RankedSetting, Ranking, float], ExportCell]] = {
    "clean_air_delivery_rate": lambda line, _, factor: rate_cell(line, factor),
    "air_changes": lambda line, ranking, _: air_changes_cell(line, _volume(ranking)),
    "standard_clearing_time": lambda line, _r, _f: standard_time_cell(line),
    "time_to_clear": lambda line, _r, _f: time_to_clear_cell(line),
    "sound": lambda line, _r, _f: sound_cell(line),
    "power": lambda line, _r, _f: power_cell(line),
    "price": lambda line, ranking, _: price_cell(line, ranking.offered.currency),
    "running_cost": lambda line, _r, _f: cost_cell(line),
    "trials": lambda line, _r, _f: plain_cell(float(line.row.usable_trials or 0), 0),
}


def ranking_table(
    ranking: Ranking,
    facts: ChartFacts,
    *,
    keys: tuple[str, ...] | None = None,
    extra: Sequence[ExtraFacts] = (),
    flow_factor: float = 1.0,
    flow_symbol: str = "m³/h",
) -> ExportTable:
    """The ranking lines in the requested order.

    keys : column names as on the page; None: the default columns
    extra : the facts of each line, if `keys` contains an optional column
    """
    offered = ranking.offered
    columns = dict(
        zip(
            _CELLS,
            (
                *quantity_columns(offered.currency, offered.standard_distance_m, flow_symbol),
                ExportColumn("usable_trials", "Usable trials"),
            ),
            strict=True,
        )
    )
    usual = [key for key in _CELLS if keys is None or key in keys]
    further = [key for key in EXTRA_EXPORTS if keys is not None and key in keys]
    rows = tuple(
        (
            text_cell(f"{line.row.maker} {line.row.model}"),
            text_cell(line.row.setting or ""),
            *(_CELLS[key](line, ranking, flow_factor) for key in usual),
            *(EXTRA_EXPORTS[key].cell(extra[place], flow_factor) for key in further),
        )
        for place, line in enumerate(ranking.lines)
    )
    return ExportTable(
        name="ranking",
        caption="Ranking of units",
        columns=(
            ExportColumn("unit", "Unit", is_number=False),
            ExportColumn("setting", "Setting", is_number=False),
            *(columns[key] for key in usual),
            *(extra_export_column(key, offered.currency, flow_symbol) for key in further),
        ),
        rows=rows,
        conditions=conditions_text(ranking.choices, offered, ranking.room),
        source_line=facts.source_line(),
        newest=latest_of(day for line in ranking.lines for day in (line.row.latest_trial_on, line.row.price_on)),
    )

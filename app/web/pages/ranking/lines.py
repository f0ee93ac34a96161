"""Lines of the ranking table: cells in the order of the columns, and the markup of a row."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from markupsafe import Markup

from app.services.ranking.table import RankedSetting, Ranking
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import CELL_OF, Cell, Scales
from app.web.pages.ranking.columns import PickedColumns
from app.web.templating.environment import environment
from app.web.templating.page_context import Column


class RowColumn(NamedTuple):
    """Column data that a line needs besides its unit."""

    key: str
    has_bar: bool


@dataclass(frozen=True)
class RankingLine:
    """One line of the table, cells in the order of its columns."""

    unit_id: int
    maker: str
    model: str
    kind: str
    setting: str
    care: bool
    latest_trial_id: int | None
    cells: tuple[Cell, ...]
    columns: tuple[RowColumn, ...]

    @cached_property
    def markup(self) -> Markup:
        """Rendered once for each line object: a table of 1,000 lines takes longer to render than to rank."""
        macros: Any = environment().get_template("partials/ranking_row.html").module
        row: Markup = macros.ranking_row(self)
        return row


def ranking_lines(
    ranking: Ranking,
    system: UnitSystem,
    picked: PickedColumns,
    columns: tuple[Column, ...],
    snapshot: BenchSnapshot | None,
) -> tuple[RankingLine, ...]:
    """The lines shown. A snapshot caches them, because they follow from the ranked settings alone."""
    scales = Scales(
        system,
        ranking.room,
        ranking.choices.channel,
        ranking.offered.currency,
        ranking.highest_rate_m3_per_h,
        ranking.longest_time_min,
    )
    extra = picked.cells or ((),) * len(ranking.lines)
    of_row = tuple(RowColumn(column.key, column.has_bar) for column in columns[1:])
    pairs = zip(ranking.lines, extra, strict=True)
    if snapshot is None:
        return tuple(_line(line, scales, picked.usual, more, of_row) for line, more in pairs)
    return tuple(snapshot.of_row(_line, line, scales, picked.usual, more, of_row) for line, more in pairs)


def _line(
    line: RankedSetting,
    scales: Scales,
    usual: tuple[str, ...],
    further_cells: tuple[Cell, ...],
    columns: tuple[RowColumn, ...],
) -> RankingLine:
    row = line.row
    return RankingLine(
        unit_id=row.unit_id,
        maker=row.maker,
        model=row.model,
        kind=row.kind,
        setting=row.setting or "no setting recorded",
        care=row.worst_severity == "care",
        latest_trial_id=row.latest_trial_id,
        cells=(*(CELL_OF[column](line, scales) for column in usual), *further_cells),
        columns=columns,
    )

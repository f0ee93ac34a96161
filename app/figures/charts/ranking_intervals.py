"""Chart of the ranking as intervals on a common scale."""

from typing import TYPE_CHECKING

from app.compute.wording.numbers import counted, listed, measured_text
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.figures.tables.quantity_cells import rate_cell
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.ranking.table import RankedSetting, Ranking
from app.services.snapshot.choices import EVERY

if TYPE_CHECKING:
    from app.services.ranking.rank_intervals import RankView

MOST_TIES = 5  # that are told as one tie with its range; of more, the range says nothing
MOST_LINES = 40


def ranking_chart(
    ranking: Ranking,
    facts: ChartFacts,
    *,
    ranks: "RankView | None" = None,
    flow_factor: float = 1.0,
    flow_symbol: str = "m³/h",
) -> Chart:
    """Clean air delivery rates with 95 % intervals; rates not distinguishable from zero in a neutral colour.

    ranks : simultaneous ranks of the same lines; without them the title names no leader
    """
    lines = [line for line in ranking.lines if line.row.clean_air_delivery_rate_m3_per_h is not None][:MOST_LINES]
    names = line_names(lines, ranking)
    with_rate = [line.has_rate for line in lines]
    needed = ranking.needed_rate_m3_per_h
    return Chart(
        name="ranking",
        title=_title(ranking, ranks, flow_factor, flow_symbol),
        subtitle=f"{_conditions(ranking)}; 95 % intervals",
        x_axis=Axis("Clean air delivery rate", flow_symbol),
        y_axis=Axis("", names=tuple(names)),
        series=(
            _series("clean air delivery rate", lines, names, with_rate, True, flow_factor),
            _series("cannot be told apart from an empty room", lines, names, with_rate, False, flow_factor),
        ),
        alt_text=_words(ranking, lines, flow_factor, flow_symbol),
        source_line=facts.source_line(f"{counted(sum(line.row.usable_trials or 0 for line in lines), 'trial')}"),
        reference_lines=()
        if needed is None
        else (ReferenceLine("x", needed * flow_factor, f"needed for {ranking.choices.room_area_m2:.0f} m²"),),
        horizontal=True,
        x_column="clean_air_delivery_rate_cfm" if flow_symbol == "cfm" else "clean_air_delivery_rate_m3_per_h",
        y_column="unit",
        house=house_style(facts),
    )


def line_names(lines: list[RankedSetting], ranking: Ranking) -> list[str]:
    """A unique name for each line, with the setting where every setting is shown."""
    every = ranking.choices.setting == EVERY
    names: list[str] = []
    for line in lines:
        name = f"{line.row.maker} {line.row.model}" + (f", {line.row.setting}" if every else "")
        names.append(name if name not in names else f"{name} ({line.row.unit_id})")
    return names


def _series(
    name: str,
    lines: list[RankedSetting],
    names: list[str],
    with_rate: list[bool],
    wanted: bool,
    factor: float,
) -> Series:
    chosen = [
        (line, label) for line, label, has_rate in zip(lines, names, with_rate, strict=True) if has_rate == wanted
    ]
    rows = [line.row for line, _ in chosen]

    def scaled(value: float | None) -> float | None:
        return None if value is None else value * factor

    words = [
        measured_text(
            (row.clean_air_delivery_rate_m3_per_h or 0.0) * factor,
            scaled(row.clean_air_delivery_rate_uncertainty),
            scaled(row.clean_air_delivery_rate_low_95),
            scaled(row.clean_air_delivery_rate_high_95),
        ).with_interval
        for row in rows
    ]
    return Series(
        name,
        "interval",
        tuple((row.clean_air_delivery_rate_m3_per_h or 0.0) * factor for row in rows),
        tuple(label for _, label in chosen),
        low=tuple(scaled(row.clean_air_delivery_rate_low_95) for row in rows),
        high=tuple(scaled(row.clean_air_delivery_rate_high_95) for row in rows),
        hover=tuple(f"{label}: {text}" for (_, label), text in zip(chosen, words, strict=True)),
        colour=0 if wanted else None,
        in_legend=not all(with_rate),
    )


def _conditions(ranking: Ranking) -> str:
    room = f" in {ranking.room.name}" if ranking.room else ""
    settings = "all settings" if ranking.choices.setting == EVERY else f"{ranking.choices.setting} setting"
    return f"{channel(ranking.choices.channel).label} of {ranking.choices.aerosol}{room}, {settings}"


def _title(ranking: Ranking, ranks: "RankView | None", factor: float, symbol: str) -> str:
    """The unit that delivers most, where the simultaneous ranks support it; a tie is called a tie."""
    leader, last = ranking.leader, ranking.last
    if leader is None or last is None:
        return "No unit delivers a measurable rate of clean air"
    key = leader.row.setting_id or 0
    if last is leader:
        return f"{_name(leader)} delivers {_value(leader, factor)} {symbol} of clean air"
    if ranks is None or all(one.row.key != key for one in ranks.measured):
        return f"From {_value(last, factor)} to {_value(leader, factor)} {symbol} of clean air"
    alike = set(ranks.ranks.like(key))
    ties = [one.line for one in ranks.measured if one.row.key in alike]
    if not ties:
        return f"{_name(leader)} delivers the most clean air, {_value(leader, factor)} {symbol}"
    if len(ties) > MOST_TIES:
        return (
            f"{_name(leader)} has the highest rate, {_value(leader, factor)} {symbol}; "
            f"{counted(len(ties), 'other')} may be as strong"
        )
    lowest = min(ties, key=lambda line: line.row.clean_air_delivery_rate_m3_per_h or 0.0)
    tied = _name(ties[0]) if len(ties) == 1 else counted(len(ties), "other")
    return (
        f"{_name(leader)} and {tied} tie for the most clean air, {_value(lowest, factor)} to "
        f"{_value(leader, factor)} {symbol}"
    )


def _name(line: RankedSetting) -> str:
    return f"{line.row.maker} {line.row.model}"


def _value(line: RankedSetting, factor: float) -> str:
    """The rate as every table shows it."""
    return rate_cell(line, factor).value


def _words(ranking: Ranking, lines: list[RankedSetting], factor: float, symbol: str) -> str:
    leader, last = ranking.leader, ranking.last
    if leader is None or last is None:
        return "No unit has a clean air delivery rate that can be distinguished from zero."
    ends = []
    for line in (leader, last) if last is not leader else (leader,):
        row = line.row
        words = measured_text(
            (row.clean_air_delivery_rate_m3_per_h or 0.0) * factor,
            None
            if row.clean_air_delivery_rate_uncertainty is None
            else row.clean_air_delivery_rate_uncertainty * factor,
        )
        ends.append(f"{row.maker} {row.model} with {words.value} ± {words.uncertainty} {symbol}")
    text = f"{counted(len(lines), 'line')}, from {listed(ends, 'to')}."
    if ranking.not_measurable:
        text += f" {ranking.not_measurable} cannot be told apart from an empty room."
    return text

"""Chart of times to clear, with uncleared runs as open-ended bounds."""

from app.compute.wording.numbers import counted, not_within
from app.compute.wording.rounding import rounded_text
from app.figures.chart import Axis, Chart, Series
from app.figures.charts.house_style import house_style
from app.figures.charts.ranking_intervals import MOST_LINES, line_names
from app.figures.tables.quantity_cells import time_to_clear_cell
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.ranking.table import RankedSetting, Ranking

_READING_MIN = 0.5  # a time to clear is known to about a reading


def clearing_times_chart(ranking: Ranking, facts: ChartFacts) -> Chart:
    """Median time to clear of each line with its range; a lower bound without a median."""
    lines = [
        line
        for line in ranking.lines
        if line.row.time_to_clear_min is not None or line.row.not_cleared_before_min is not None
    ][:MOST_LINES]
    rows = [line.row for line in lines]
    names = line_names(lines, ranking)
    reached = [row.time_to_clear_min is not None for row in rows]
    times = tuple((row.time_to_clear_min or row.not_cleared_before_min or 0.0) for row in rows)
    hover = tuple(
        f"{name}: {time_to_clear_cell(line).value} min{_from(line)}" if is_reached else f"{name}: {not_within(time)}"
        for name, line, time, is_reached in zip(names, lines, times, reached, strict=True)
    )
    room = f" in {ranking.room.name}" if ranking.room else ""
    return Chart(
        name="clearing-times",
        title=_title(lines, names),
        subtitle=f"{channel(ranking.choices.channel).label}{room}, from unit on to the clear level; an open marker is "
        "a run that ended before that",
        x_axis=Axis("Time to clear", "min", low=0.0),
        y_axis=Axis("", names=tuple(names)),
        series=(
            Series(
                "time to clear",
                "interval",
                times,
                tuple(names),
                low=tuple(row.time_to_clear_low_min if ok else None for row, ok in zip(rows, reached, strict=True)),
                high=tuple(row.time_to_clear_high_min if ok else None for row, ok in zip(rows, reached, strict=True)),
                censored=tuple(not is_reached for is_reached in reached),
                hover=hover,
                colour=0,
            ),
        ),
        alt_text=_words(lines, names, channel(ranking.choices.channel).unit),
        source_line=facts.source_line(counted(sum(row.usable_trials or 0 for row in rows), "trial")),
        horizontal=True,
        x_column="time_to_clear_min",
        y_column="unit",
        house=house_style(facts),
    )


def _from(line: RankedSetting) -> str:
    """The start levels of the runs, which a time to clear depends on."""
    low, high = line.row.start_level_low, line.row.start_level_high
    if low is None or high is None:
        return ""
    least, most = rounded_text(low, 0), rounded_text(high, 0)
    return f" from {least if least == most else f'{least} to {most}'}"


def _cleared(lines: list[RankedSetting], names: list[str]) -> list[tuple[str, RankedSetting]]:
    """Names and lines that cleared, the fastest first."""
    found = [(line.row.time_to_clear_min, name, line) for name, line in zip(names, lines, strict=True)]
    reached = [(time, name, line) for time, name, line in found if time is not None]
    return [(name, line) for _, name, line in sorted(reached, key=lambda entry: entry[:2])]


def _title(lines: list[RankedSetting], names: list[str]) -> str:
    """Both ends of the median times; a unit is said to clear faster than the next only where their runs never meet."""
    cleared = _cleared(lines, names)
    if not cleared:
        return "No unit reached the clear level"
    (name, first), *others = cleared
    time = f"{time_to_clear_cell(first).value}\u00a0min"
    if not others:
        return f"{name} clears the room in {time}"
    (_, second), (last_name, last) = others[0], others[-1]
    slowest, fastest = first.row.time_to_clear_high_min, second.row.time_to_clear_low_min
    if slowest is not None and fastest is not None and slowest + _READING_MIN < fastest - _READING_MIN:
        return f"{name} clears the room in {time}, the next in {time_to_clear_cell(second).value}\u00a0min"
    ends = f"{time_to_clear_cell(last).value}\u00a0min with {last_name}"
    return f"The room is clear after {time} with {name}, {ends}"


def _words(lines: list[RankedSetting], names: list[str], unit: str) -> str:
    cleared = _cleared(lines, names)
    text = "No unit reached the clear level."
    if cleared:
        (first, fastest), (last, slowest) = cleared[0], cleared[-1]
        shortest = f"{first}, {time_to_clear_cell(fastest).value}\u00a0min{_from(fastest)} {unit}"
        text = f"The shortest median is that of {shortest}"
        longest = f"{last}, {time_to_clear_cell(slowest).value}\u00a0min{_from(slowest)} {unit}"
        text += f"; the longest that of {longest}." if len(cleared) > 1 else "."
    open_ended = len(lines) - len(cleared)
    if open_ended:
        text += f" {counted(open_ended, 'unit')} had not cleared when the run ended."
    return text

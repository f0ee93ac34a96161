"""Chart of times to clear, with uncleared runs as open-ended bounds."""

from app.compute.wording.numbers import counted, not_within
from app.compute.wording.rounding import rounded_text
from app.figures.chart import Axis, Chart, Series
from app.figures.charts.house_style import house_style
from app.figures.charts.ranking_intervals import MOST_LINES, line_names
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.ranking.table import Ranking


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
        f"{name}: {rounded_text(time, 0)} min" if is_reached else f"{name}: {not_within(time)}"
        for name, time, is_reached in zip(names, times, reached, strict=True)
    )
    room = f" in {ranking.room.name}" if ranking.room else ""
    return Chart(
        name="clearing-times",
        title="How long until the room is clear?",
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
        alt_text=_words(list(zip(names, times, reached, strict=True))),
        source_line=facts.source_line(counted(sum(row.usable_trials or 0 for row in rows), "trial")),
        horizontal=True,
        x_column="time_to_clear_min",
        y_column="unit",
        house=house_style(facts),
    )


def _words(lines: list[tuple[str, float, bool]]) -> str:
    cleared = sorted((time, name) for name, time, is_reached in lines if is_reached)
    open_ended = sum(1 for _, _, is_reached in lines if not is_reached)
    text = "No unit reached the clear level."
    if cleared:
        text = f"The shortest median is that of {cleared[0][1]}, {rounded_text(cleared[0][0], 0)} min"
        longest = f"; the longest that of {cleared[-1][1]}, {rounded_text(cleared[-1][0], 0)} min"
        text += f"{longest if len(cleared) > 1 else ''}."
    if open_ended:
        text += f" {counted(open_ended, 'unit')} had not cleared when the run ended."
    return text

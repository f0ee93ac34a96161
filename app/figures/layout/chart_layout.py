"""The layout step: from a chart and a width to the place of everything that is drawn.

Every renderer draws what it says, so that a text that touches nothing here touches nothing anywhere.
"""

from dataclasses import dataclass, replace

from app.figures.axis_range import axis_range
from app.figures.chart import Chart
from app.figures.layout.boxes import LABEL_PX, LINE_HEIGHT, Box, KeySample, Leader, PlacedText
from app.figures.layout.curve_labels import (
    Placing,
    in_margin,
    labelled,
    margin_width,
    place_beside_ends,
    place_in_margin,
    place_levels,
    place_numbers,
)
from app.figures.layout.frame import (
    Names,
    foot,
    foot_lines,
    heading,
    is_narrow,
    left_margin,
    line_of_text,
    names_beside,
    x_ticks,
    y_ticks,
)
from app.figures.layout.key import Entry, key_block
from app.figures.layout.marks import ROW_PX, mark_rows
from app.figures.layout.positions import Positions, ink_of
from app.figures.layout.text_size import text_lines
from app.figures.layout.ticks import Tick

WIDTH_PX = 960  # of a picture whose width is not asked for
_LEAST_PLOT = 240.0
_TICK_ROW, _TITLE_ROW, _END = 31.0, 18.0, 10.0
_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class ChartLayout:
    """Everything of a chart but its data, in pixels. `x_ticks` and `y_ticks` hold the values of the axes."""

    width: float
    height: float
    plot: Box
    texts: tuple[PlacedText, ...]
    leaders: tuple[Leader, ...]
    samples: tuple[KeySample, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    positions: Positions


def chart_layout(chart: Chart, width: float, height: float | None = None) -> ChartLayout:
    """The layout at a width [px]. With a height [px], for a page that shows title and source itself, they are omitted;
    without one, the height follows from what is shown. A height that is too small is exceeded.
    """
    head_texts, top = ([], 10.0) if height is not None else heading(chart, width)
    entries: list[Entry] = [
        (series.name, series, "") for series in chart.series if series.x and (series.in_legend or series.kind == "bar")
    ]
    key_texts, key_samples, key_high = key_block(entries, 12.0, top, width - 12, chart.house.font)
    top += key_high + (6 if key_high else 0)
    if chart.y_axis.words:
        name = text_lines(chart.y_axis.words, width - 24, LABEL_PX, most=1, font=chart.house.font)[0]
        head_texts.append(line_of_text("axis", name, (12.0, top), font=chart.house.font))
        top += _TITLE_ROW
    names = names_beside(chart, width)
    foot_high = 0.0 if height is not None else 17.0 * len(foot_lines(chart, width)) + 8
    reserved = 0.0
    for _ in range(_ROUNDS):
        plot_high = _plot_height(chart, width, names)
        if height is not None:
            free = height - top - _TICK_ROW - _TITLE_ROW - _END
            least = min(_LEAST_PLOT, free) if names is None else _least(names)
            plot_high = max(free - reserved, least)
        found = _placed(chart, width, (top, plot_high, foot_high), names)
        if height is None or found.height <= height:
            break
        reserved += found.height - height
    if height is None:
        head_texts = [*head_texts, *foot(chart, width, found.height - foot_high)]
    return replace(
        found,
        height=max(found.height, height or 0.0),
        texts=(*head_texts, *key_texts, *found.texts),
        samples=(*key_samples, *found.samples),
    )


def _least(names: Names) -> float:
    """Height of the plot that gives every name its row."""
    return max(3, len(names.lines)) * names.row_px


def _plot_height(chart: Chart, width: float, names: Names | None) -> float:
    """Height of the plot in a picture whose height is free."""
    if names is not None:
        return _least(names)
    return 290.0 if is_narrow(width) else min(max(0.42 * width, 280.0), 640.0)


def _placed(chart: Chart, width: float, tops: tuple[float, float, float], names: Names | None) -> ChartLayout:
    """Plot, ticks, axis names, marks, labels and the key below, from the top of the plot's marks downwards."""
    top, plot_high, foot_high = tops
    font = chart.house.font
    wanted = labelled(chart)
    ends = axis_range(chart, "x"), axis_range(chart, "y")
    ticks_y = [] if names else y_ticks(chart, ends[1], plot_high)
    left = left_margin(names, ticks_y, font)
    plot = Box(left, top, width - (18.0 if is_narrow(width) else 30.0), top + plot_high)
    positions = Positions(chart, plot, *ends)
    at_margin = [] if is_narrow(width) else [s for s in wanted if in_margin(s, chart, positions)]
    if at_margin:
        plot = replace(plot, x1=width - margin_width(at_margin, chart, width))
    marks, _ = mark_rows(chart, replace(positions, plot=plot), width)
    rows_high = max((plot.y0 - mark.box.y0 for mark in marks), default=0.0)
    rows = round(rows_high / ROW_PX + 0.49) if marks else 0
    plot = replace(plot, y0=top + rows * ROW_PX + 8, y1=top + rows * ROW_PX + 8 + plot_high)
    positions = replace(positions, plot=plot)
    marks, mark_leaders = mark_rows(chart, positions, width)
    limits = Box(plot.x0 + 3, plot.y0 - 6, width - 6, plot.y1 - 3)
    ink, uncrossed = ink_of(chart, positions, width, plot.y1 + 60)
    placing = Placing(chart, positions, ink, uncrossed, limits, list(marks), mark_leaders)
    if is_narrow(width):
        placing.in_key += wanted
        place_levels(placing)
    else:
        place_levels(placing)
        place_in_margin(placing, at_margin, width)
        place_beside_ends(placing, [series for series in wanted if series not in at_margin])
    numbers = place_numbers(placing)
    ticks_x = [] if chart.x_axis.names else x_ticks(positions, width)
    texts = [*placing.texts, *_tick_texts(positions, ticks_x, ticks_y, names)]
    bottom = plot.y1 + _TICK_ROW
    for line in text_lines(chart.x_axis.words, plot.width + 40, LABEL_PX, most=2, font=font):
        middle = min((plot.x0 + plot.x1) / 2, width - 8)
        texts.append(line_of_text("axis", line, (middle, bottom), align="center", font=font))
        bottom += _TITLE_ROW
    entries: list[Entry] = [(line.label, None, "") for line in placing.levels_in_key]
    order = {id(series): place for place, series in enumerate(chart.series)}
    entries += [
        (series.end_label, series, numbers.get(series.end_label, ""))
        for series in sorted(placing.in_key, key=lambda series: order[id(series)])
    ]
    key_texts, samples, key_high = key_block(entries, 12.0, bottom + 6, width - 12, font)
    height = bottom + (key_high + 6 if key_high else 0) + _END + foot_high
    shown = (*texts, *key_texts)
    return ChartLayout(
        width, height, plot, shown, tuple(placing.leaders), tuple(samples), tuple(ticks_x), tuple(ticks_y), positions
    )


def _tick_texts(
    positions: Positions, ticks_x: list[Tick], ticks_y: list[Tick], names: Names | None
) -> list[PlacedText]:
    chart, plot, font = positions.chart, positions.plot, positions.chart.house.font
    texts = [
        line_of_text("tick", label, (positions.x(value), plot.y1 + 10), align="center", font=font)
        for value, label in ticks_x
    ]
    half = LABEL_PX * LINE_HEIGHT / 2
    if names is None:
        for value, label in ticks_y:
            at = (plot.x0 - 8, positions.y(value) - half)
            texts.append(line_of_text("tick", label, at, align="right", font=font))
        return texts
    for name, lines in zip(chart.y_axis.names, names.lines, strict=True):
        middle = positions.y(name)
        wide = max(line_of_text("tick", line, (0, 0), font=font).box.width for line in lines)
        box = Box(plot.x0 - 8 - wide, middle - half * len(lines), plot.x0 - 8, middle + half * len(lines))
        texts.append(PlacedText("tick", lines, box, "right"))
    return texts

"""Heading, foot and axis names of a chart, and the plot that they leave."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.figures.chart import Chart
from app.figures.layout.boxes import LABEL_PX, LINE_HEIGHT, SMALL_PX, Align, Box, PlacedText
from app.figures.layout.positions import Positions
from app.figures.layout.text_size import text_lines, text_width
from app.figures.layout.ticks import Tick, ticks

NARROW_PX = 560
_EDGE = 12.0
_TITLE_PX, _TITLE_LINE, _LINE = 18.0, 24.0, 18.0
_LEAST_LEFT = 56.0  # so that charts above one another share their time axis
_TICK_PX = 5.0
_MOST_NAMES = 0.4  # of the width, for the names of bars


def is_narrow(width: float) -> bool:
    return width < NARROW_PX


@dataclass(frozen=True, slots=True)
class Names:
    """Names of the categories, wrapped as the margin requires, and the margin [px]."""

    lines: tuple[tuple[str, ...], ...]
    margin: float
    row_px: float


def line_of_text(
    kind: str, words: str, at: tuple[float, float], size: float = LABEL_PX, *, align: Align = "left", **look: object
) -> PlacedText:
    """One line of text from its anchor: x of its aligned edge, and its top."""
    font = str(look.pop("font", ""))
    wide, (x, top) = text_width(words, size, bold=bool(look.get("bold")), font=font), at
    left = {"left": x, "center": x - wide / 2, "right": x - wide}[align]
    return PlacedText(kind, (words,), Box(left, top, left + wide, top + size * LINE_HEIGHT), align, size, **look)  # type: ignore[arg-type]


def heading(chart: Chart, width: float) -> tuple[list[PlacedText], float]:
    """Title, subtitle and the publication's name; and where they end [px]."""
    font, texts, y = chart.house.font, [], _EDGE + 2
    room = width - 2 * _EDGE
    title_room = room
    if chart.house.publication:
        name = text_lines(chart.house.publication, room, LABEL_PX, most=1, bold=True, font=font)[0]
        texts.append(line_of_text("corner", name, (width - _EDGE, y), align="right", bold=True, font=font))
        if is_narrow(width):
            y += 22.0
        else:
            title_room = room - text_width(name, LABEL_PX, bold=True, font=font) - 24
    for line in text_lines(chart.title, max(title_room, room / 3), _TITLE_PX, bold=True, font=font):
        texts.append(line_of_text("title", line, (_EDGE, y), _TITLE_PX, bold=True, font=font))
        y += _TITLE_LINE
    for line in text_lines(chart.subtitle, room, LABEL_PX, font=font):
        texts.append(line_of_text("subtitle", line, (_EDGE, y), faded=True, font=font))
        y += _LINE
    return texts, y + 8


def foot_lines(chart: Chart, width: float) -> list[str]:
    return text_lines(chart.foot, width - 2 * _EDGE, SMALL_PX, font=chart.house.font)


def foot(chart: Chart, width: float, top: float) -> list[PlacedText]:
    lines = foot_lines(chart, width)
    return [
        line_of_text("foot", line, (_EDGE, top + place * 17.0), SMALL_PX, faded=True, font=chart.house.font)
        for place, line in enumerate(lines)
    ]


def names_beside(chart: Chart, width: float) -> Names | None:
    """Names left of a chart of horizontal bars, on at most two lines."""
    if not chart.y_axis.names:
        return None
    font, room = chart.house.font, _MOST_NAMES * width
    size = LABEL_PX
    lines = tuple(
        tuple(text_lines(name, room, size, most=2, even=True, font=font)) or ("",) for name in chart.y_axis.names
    )
    widest = max(text_width(line, size, font=font) for each in lines for line in each)
    return Names(lines, widest + 20, 38.0 if any(len(each) > 1 for each in lines) else 28.0)


def left_margin(names: Names | None, at: Sequence[Tick], font: str) -> float:
    """Width of the space left of the plot, for names or tick labels."""
    if names is not None:
        return names.margin
    widest = max((text_width(label, LABEL_PX, font=font) for _, label in at), default=0.0)
    return max(_LEAST_LEFT, widest + _TICK_PX + 14)


def y_ticks(chart: Chart, ends: tuple[float, float], plot_height: float) -> list[Tick]:
    """`ends` of the axis, as `axis_range` gives them."""
    return ticks(chart.y_axis, *ends, max(2, min(8, int(plot_height / 42))))


def x_ticks(positions: Positions, width: float) -> list[Tick]:
    """As many ticks as fit with their labels side by side on the canvas."""
    chart, plot = positions.chart, positions.plot
    font = chart.house.font
    found: list[Tick] = []
    for most in range(max(2, min(9, int(plot.width / 62))), 0, -1):
        found = ticks(chart.x_axis, *positions.x_ends, most)
        widest = max((text_width(label, LABEL_PX, font=font) for _, label in found), default=0.0)
        if len(found) < 2 or widest + 14 <= plot.width / len(found):
            break
    return [tick for tick in found if positions.x(tick[0]) + text_width(tick[1], LABEL_PX, font=font) / 2 <= width - 2]

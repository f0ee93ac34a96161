"""Words of vertical lines and regions, in rows above the plot, where no data are."""

from collections.abc import Iterator
from dataclasses import dataclass

from app.figures.chart import Chart
from app.figures.layout.boxes import LINE_HEIGHT, SMALL_PX, Align, Box, Leader, PlacedText
from app.figures.layout.positions import Positions
from app.figures.layout.text_size import text_lines, text_width

ROW_PX = 18.0
_GAP = 10.0
_ALIGNS: tuple[Align, ...] = ("center", "left", "right")


@dataclass(frozen=True, slots=True)
class _Mark:
    words: str
    at: float  # px
    value: float
    is_line: bool


@dataclass(frozen=True, slots=True)
class _Choice:
    row: int
    align: Align
    x0: float
    x1: float


def mark_rows(chart: Chart, positions: Positions, width: float) -> tuple[list[PlacedText], list[Leader]]:
    """The words, each beside its line, with the line prolonged up to it. Rows count upwards from the plot."""
    marks = _marks(chart, positions)
    font = chart.house.font
    ends = (2.0, width - 4.0)
    words = {mark: "\n".join(text_lines(mark.words, ends[1] - ends[0], SMALL_PX, most=1, font=font)) for mark in marks}
    chosen = _choose(marks, [], {mark: text_width(words[mark], SMALL_PX, font=font) for mark in marks}, ends)
    texts, leaders = [], []
    for mark, choice in zip(marks, chosen, strict=False):
        bottom = positions.plot.y0 - 3 - choice.row * ROW_PX
        box = Box(choice.x0, bottom - SMALL_PX * LINE_HEIGHT, choice.x1, bottom)
        at = (mark.value, 0.0)
        texts.append(PlacedText("mark", (words[mark],), box, choice.align, SMALL_PX, faded=True, at_data=at))
        if mark.is_line and choice.row:
            leaders.append(Leader(mark.at, positions.plot.y0, mark.at, bottom + 1))
    return texts, leaders


def _marks(chart: Chart, positions: Positions) -> list[_Mark]:
    lines = [
        _Mark(line.label, positions.x(line.at), line.at, True)
        for line in chart.reference_lines
        if line.axis == "x" and line.label
    ]
    regions = [
        _Mark(region.label, positions.x(middle), middle, False)
        for region in chart.regions
        if region.label
        for middle in [(region.low + region.high) / 2]
    ]
    return sorted(lines + regions, key=lambda mark: mark.at)


def _choose(
    marks: list[_Mark], chosen: list[_Choice], widths: dict[_Mark, float], ends: tuple[float, float]
) -> list[_Choice]:
    """The first choice of places, lowest rows first, in which no words touch others or a line that is not theirs."""
    if len(chosen) == len(marks):
        return chosen
    mark = marks[len(chosen)]
    for choice in _places(mark, widths[mark], ends, len(marks) + 1):
        if all(_apart(mark, choice, other, earlier) for other, earlier in zip(marks, chosen, strict=False)):
            found = _choose(marks, [*chosen, choice], widths, ends)
            if len(found) == len(marks):
                return found
    return []


def _places(mark: _Mark, wide: float, ends: tuple[float, float], rows: int) -> Iterator[_Choice]:
    for row in range(rows):
        for align in _ALIGNS:
            x0 = {"center": mark.at - wide / 2, "left": mark.at + 4, "right": mark.at - wide - 4}[align]
            moved = min(max(x0, ends[0]), ends[1] - wide)
            yield _Choice(row, align, moved, moved + wide)


def _apart(mark: _Mark, choice: _Choice, other: _Mark, earlier: _Choice) -> bool:
    if choice.row == earlier.row:
        return choice.x0 >= earlier.x1 + _GAP or earlier.x0 >= choice.x1 + _GAP
    upper, words = (mark, earlier) if choice.row > earlier.row else (other, choice)
    return not upper.is_line or not words.x0 - 3 <= upper.at <= words.x1 + 3

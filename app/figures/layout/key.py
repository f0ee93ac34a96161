"""The key of a chart: samples with names, in columns, above the plot (bars) or below it (curves without a label)."""

from app.figures.chart import Series
from app.figures.layout.boxes import LABEL_PX, LINE_HEIGHT, Box, KeySample, PlacedText
from app.figures.layout.text_size import text_lines, text_width

SAMPLE_PX, _GAP, _BETWEEN = 30.0, 8.0, 22.0
_ROW_PAD = 4.0

Entry = tuple[str, Series | None, str]  # name, its series or None for a level line, its number at a point or ""


def key_block(
    entries: list[Entry], left: float, top: float, right: float, font: str
) -> tuple[list[PlacedText], list[KeySample], float]:
    """Texts and samples of a key that begins at the top left, and its height [px]."""
    if not entries:
        return [], [], 0.0
    room = right - left - SAMPLE_PX - _GAP
    lines = [
        text_lines(f"{number}  {name}" if number else name, room, LABEL_PX, most=3, font=font)
        for name, _, number in entries
    ]
    widest = max(text_width(line, LABEL_PX, font=font) for each in lines for line in each)
    columns = max(1, min(len(entries), int((right - left + _BETWEEN) / (SAMPLE_PX + _GAP + widest + _BETWEEN))))
    rows = -(-len(entries) // columns)
    heights = [
        max(len(lines[place]) for place in range(row, len(entries), rows)) * LABEL_PX * LINE_HEIGHT + _ROW_PAD
        for row in range(rows)
    ]
    texts, samples = [], []
    for place, (_, series, _) in enumerate(entries):
        column, row = divmod(place, rows)
        x = left + column * (SAMPLE_PX + _GAP + widest + _BETWEEN)
        y = top + sum(heights[:row])
        wide = max(text_width(line, LABEL_PX, font=font) for line in lines[place])
        high = len(lines[place]) * LABEL_PX * LINE_HEIGHT
        start = x + SAMPLE_PX + _GAP
        texts.append(PlacedText("key", tuple(lines[place]), Box(start, y, start + wide, y + high), series=series))
        middle = y + LABEL_PX * LINE_HEIGHT / 2
        samples.append(KeySample(Box(x, middle - 6, x + SAMPLE_PX, middle + 6), series))
    return texts, samples, sum(heights)

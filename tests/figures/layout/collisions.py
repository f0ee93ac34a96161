"""What touches what in a chart: by its layout, and by the pixels that are really drawn."""

from itertools import combinations

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from app.figures.chart import Chart
from app.figures.layout.boxes import Box
from app.figures.layout.chart_layout import ChartLayout
from app.figures.renderers.matplotlib_chart import png_bytes

SLACK = 0.5  # px, for rounding


def touching(boxes: list[tuple[str, Box]], width: float, height: float) -> list[str]:
    """Every pair of texts that overlap, and every text that crosses the edge."""
    found = [
        f"{one!r} touches {other!r}"
        for (one, first), (other, second) in combinations(boxes, 2)
        if first.overlaps(second, -SLACK)
    ]
    return found + [
        f"{words!r} crosses the edge: {box}"
        for words, box in boxes
        if min(box.x0, box.y0) < -SLACK or box.x1 > width + SLACK or box.y1 > height + SLACK
    ]


def layout_collisions(layout: ChartLayout) -> list[str]:
    """Of the layout's own boxes: texts, samples of the key, and leader lines through texts."""
    texts = [(" ".join(text.lines), text.box) for text in layout.texts]
    samples = [(f"sample {place}", sample.box) for place, sample in enumerate(layout.samples)]
    found = touching(texts + samples, layout.width, layout.height)
    for leader in layout.leaders:
        for share in np.linspace(0, 1, 60):
            x, y = leader.x0 + share * (leader.x1 - leader.x0), leader.y0 + share * (leader.y1 - leader.y0)
            found += [
                f"a leader crosses {words!r}" for words, box in texts if box.x0 < x < box.x1 and box.y0 < y < box.y1
            ]
    return found


def drawn_collisions(chart: Chart, width: int, monkeypatch) -> list[str]:
    """Of the picture as drawn: the extents of its texts, and the pixels that lie in them without the texts."""
    drawn: list[Figure] = []
    with monkeypatch.context() as patched:
        patched.setattr(Figure, "savefig", lambda figure, *_, **__: drawn.append(figure))
        png_bytes(chart, width)
    (figure,) = drawn
    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()  # places the texts; they are not drawn, because what lies under them is looked at
    texts = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text()]
    high = figure.bbox.height
    boxes = [
        (text.get_text(), Box(box.x0, high - box.y1, box.x1, high - box.y0))
        for text in texts
        for box in [text.get_window_extent()]
    ]
    for text in texts:
        text.set_visible(False)
    axes = figure.axes[0]
    axes.grid(False)  # a text may lie on the grid, and on the grey of the fit window
    for patch in axes.patches[: len(chart.regions)]:
        patch.set_visible(False)
    canvas.draw()
    inked = np.asarray(canvas.buffer_rgba())[:, :, :3].min(axis=2) < 250
    covering = [
        words
        for words, box in boxes
        if inked[max(int(box.y0) + 1, 0) : int(box.y1), max(int(box.x0) + 1, 0) : int(box.x1)].any()
    ]
    assert len(boxes) > 4
    assert inked.any()
    return touching(boxes, width, high) + [f"{words!r} lies on data or a line" for words in covering]

"""The label of a level line is where no curve, point or mark crosses it, in both renderers."""

from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart, ReferenceLine, Region, Series
from app.figures.renderers.level_label import label_place
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.plotly_chart import plotly_figure

LEVEL = ReferenceLine("y", 10.0, "clear level 10 µg/m³")


def _level(minute: float, end: float) -> float:
    if minute < 7:
        return 3.0
    return 3 + 31 * (minute - 7) if minute < 16 else 280 * 0.0357 ** ((minute - 16) / (end - 16))


def trial(end: float = 150.0, scale: str = "linear") -> Chart:
    """Nothing, smoke from minute 7, 280 µg/m³ at minute 16, and then a decay to 10 µg/m³ at the end of the run."""
    minutes = tuple(float(minute) for minute in range(int(end) + 1))
    levels = tuple(_level(minute, end) for minute in minutes)
    return Chart(
        name="trial",
        title="",
        subtitle="",
        x_axis=Axis("Time", "min", low=0.0, high=end),
        y_axis=Axis("PM2.5", "µg/m³", scale, low=1.0 if scale == "log" else 0.0),  # type: ignore[arg-type]
        series=(Series("reading", "points", minutes, levels), Series("fit", "line", minutes[18:], levels[18:])),
        alt_text="",
        source_line="",
        reference_lines=(LEVEL, ReferenceLine("x", 7.0, "smoke"), ReferenceLine("x", 16.0, "unit on")),
        regions=(Region(18.0, end, "fit window"),),
    )


@pytest.mark.parametrize("scale", ["linear", "log"])
def test_the_words_begin_after_the_marks_and_end_before_the_curve(scale: str):
    chart = trial(scale=scale)
    place = label_place(chart, LEVEL)
    begins, ends = 150 * place, 150 * (place + 0.48)
    assert begins > 18.0
    height = 10 + 0.07 * axis_range(chart, "y")[1] if scale == "linear" else 10 * axis_range(chart, "y")[1] ** 0.07
    readings = zip(chart.series[0].x, chart.series[0].y, strict=True)
    assert [level for minute, level in readings if begins <= minute <= ends and 10 <= level <= height] == []


def test_a_steep_curve_with_few_readings_is_seen_between_them():
    chart = replace(trial(), series=(Series("fit", "line", (40.0, 60.0), (280.0, 3.0)),))
    place = 150 * label_place(chart, LEVEL)
    assert place > 59.0  # it passes 10 µg/m³ half a minute before its end


def test_words_that_nothing_crosses_stay_at_the_left_end():
    high = Series("empty room", "line", (0.0, 150.0), (280.0, 120.0))
    assert label_place(replace(trial(), series=(high,), regions=(), reference_lines=(LEVEL,)), LEVEL) == 0.0


def test_where_no_gap_is_wide_enough_they_stay_at_the_left_end():
    minutes = tuple(float(minute) for minute in range(151))
    everywhere = Series("reading", "points", minutes, tuple(10.5 for _ in minutes))
    assert label_place(replace(trial(), series=(everywhere,)), LEVEL) == 0.0


def test_both_renderers_put_them_there_on_a_ground_of_the_page(monkeypatch: pytest.MonkeyPatch):
    chart = trial()
    place = label_place(chart, LEVEL)
    [note] = [note for note in plotly_figure(chart)["layout"]["annotations"] if note.get("name") == "level"]
    assert note["x"] == pytest.approx(place, abs=0.001)
    drawn: list[Figure] = []
    monkeypatch.setattr(Figure, "savefig", lambda figure, *_, **__: drawn.append(figure))
    png_bytes(chart)
    (figure,) = drawn
    [words] = [text for text in figure.axes[0].texts if text.get_text() == LEVEL.label]
    assert words.get_position()[0] == pytest.approx(place + 0.008)
    assert words.get_bbox_patch().get_alpha() > 0.5

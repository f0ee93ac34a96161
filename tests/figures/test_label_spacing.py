"""Labels at the ends of curves are moved apart, and no further than needed."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.figures.axis_range import axis_range
from app.figures.renderers.end_labels import LABEL_GAP, drawn_height, end_labels, spaced
from tests.figures.some_charts import line_chart

places = st.lists(st.floats(min_value=0, max_value=1), max_size=12)


@given(places, st.floats(min_value=0.001, max_value=0.5))
def test_labels_never_touch_and_stay_inside(wanted: list[float], gap: float):
    found = sorted(spaced(wanted, gap, 0.0, 1.0))
    room = min(gap, 1 / max(len(wanted) - 1, 1))
    assert all(later - earlier >= room - 1e-9 for earlier, later in pairwise(found))
    assert all(-1e-9 <= place <= 1 + 1e-9 for place in found)


@given(places, st.floats(min_value=0.001, max_value=0.05))
def test_labels_keep_the_order_of_their_curves(wanted: list[float], gap: float):
    found = spaced(wanted, gap, 0.0, 1.0)
    for i, a in enumerate(wanted):
        for j, b in enumerate(wanted):
            if a < b:
                assert found[i] < found[j] + 1e-9


def test_labels_that_do_not_touch_stay_where_they_are():
    assert spaced([0.9, 0.1, 0.5], 0.05, 0.0, 1.0) == pytest.approx([0.9, 0.1, 0.5])


def test_labels_that_touch_move_evenly():
    assert spaced([0.5, 0.5, 0.5], 0.1, 0.0, 1.0) == pytest.approx([0.4, 0.5, 0.6])


@pytest.mark.parametrize("scale", ["linear", "log"])
def test_end_labels_stand_apart_on_the_axis_that_is_drawn(scale: str):
    chart = line_chart(scale)
    low, high = axis_range(chart, "y")
    heights = sorted(drawn_height(label.label_y, low, high, chart.y_axis) for label in end_labels(chart))
    assert len(heights) == 2
    assert heights[1] - heights[0] >= LABEL_GAP - 1e-9


def test_the_label_of_a_censored_curve_knows_it():
    assert {label.series.end_label: label.censored for label in end_labels(line_chart())} == {
        "Maker A": True,
        "Empty room": False,
    }

"""Time to clear: the first crossing that lasts, interpolated, or a lower bound."""

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.clearing import clear_level_value, first_sustained_crossing_h
from app.compute.decay.result import ChannelDecay, ClearLevel, Marks

TIME_S = np.arange(0.0, 5400.0, 10.0)
LEVEL = np.round(4 + 396 * np.exp(-4 * TIME_S / 3600), 2)


def analysed(clear_level: ClearLevel, levels: np.ndarray = LEVEL) -> ChannelDecay:
    return analyse_decay(
        TIME_S, levels, channel="pm2_5", unit="µg/m³", marks=Marks(unit_on_h=0.0), clear_level=clear_level
    )


def true_minutes(level: float) -> float:
    return 60 * np.log(396 / (level - 4)) / 4


def test_the_crossing_lies_where_the_curve_crosses_and_is_predicted_there():
    clear = analysed(ClearLevel("absolute", 25.0)).time_to_clear
    assert clear.reached
    assert clear.not_before_min is None
    assert clear.value_min == pytest.approx(true_minutes(25.0), abs=0.2)
    assert clear.predicted.value == pytest.approx(true_minutes(25.0), abs=0.1)


def test_a_share_of_the_start_counts_from_unit_on():
    clear = analysed(ClearLevel("share_of_start", 0.1)).time_to_clear
    assert clear.clear_level == pytest.approx(40.0, rel=0.02)
    assert clear.value_min == pytest.approx(true_minutes(40.0), abs=0.5)


def test_a_run_that_ends_before_is_right_censored_and_predicted():
    clear = analysed(ClearLevel("absolute", 4.5)).time_to_clear
    assert not clear.reached
    assert clear.value_min is None
    assert clear.not_before_min == pytest.approx(90, abs=0.3)
    assert clear.predicted.value == pytest.approx(true_minutes(4.5), rel=0.05)
    assert clear.predicted.value > clear.not_before_min


def test_a_level_that_the_curve_never_reaches_is_not_predicted():
    clear = analysed(ClearLevel("absolute", 2.0)).time_to_clear
    assert not clear.reached
    assert clear.predicted is None


def test_a_time_that_is_as_uncertain_as_long_is_not_predicted():
    """A clear level just above the background of a short run: the curve reaches it between an hour and never."""
    noisy = LEVEL * (1 + 0.03 * np.random.default_rng(2).standard_normal(LEVEL.size))
    background = analysed(ClearLevel("absolute", 25.0), noisy).fit.background
    near, farther = (background.value + width * background.uncertainty for width in (0.02, 12.0))
    assert analysed(ClearLevel("absolute", near), noisy).time_to_clear.predicted is None
    predicted = analysed(ClearLevel("absolute", farther), noisy).time_to_clear.predicted
    assert 0 < predicted.low_95 < predicted.value


def test_a_dip_that_does_not_last_does_not_count():
    dipped = LEVEL.copy()
    dipped[30:36] = 5.0  # one minute
    clear = analysed(ClearLevel("absolute", 25.0), dipped).time_to_clear
    assert clear.value_min == pytest.approx(true_minutes(25.0), abs=0.3)


def test_the_background_kind_adds_to_the_level_before_the_smoke():
    time = np.arange(0.0, 6000.0, 10.0)
    level = np.where(time < 600, 6.0, 6 + 300 * np.exp(-4 * (time - 600) / 3600))
    decay = analyse_decay(time, level, channel="pm2_5", unit="µg/m³", clear_level=ClearLevel("background", 3.0))
    assert decay.time_to_clear.clear_level == pytest.approx(9.0)


def test_a_room_that_is_clear_already_takes_no_time():
    assert analysed(ClearLevel("absolute", 1000.0)).time_to_clear.value_min == 0.0


def test_nothing_after_unit_on_has_no_crossing():
    assert first_sustained_crossing_h(np.array([0.0, 0.1]), np.array([5.0, 4.0]), 10.0, 1.0, 2.0) is None


def test_clear_levels_of_each_kind():
    assert clear_level_value(ClearLevel("absolute", 12.0), 400.0, 4.0) == 12.0
    assert clear_level_value(ClearLevel("background", 2.0), 400.0, 4.0) == 6.0

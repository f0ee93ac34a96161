"""Precision reached, and what more minutes give. What is expected is compared with what came in
`tests/studies/tables/early_stop.txt`; here are the rules that hold whatever the noise.
"""

import numpy as np
import pytest

from app.compute.live_runs.precision import MOST_MORE_MIN, expected_half_widths, precision_of, relative_half_width
from tests.compute.live_runs.test_advice import decay_of


def test_the_half_width_is_that_of_the_interval():
    decay = decay_of(30.0)
    rate = decay.fit.decay_rate if decay.fit else None
    assert rate is not None
    assert relative_half_width(decay) == pytest.approx((rate.high_95 - rate.low_95) / 2 / rate.value)


@pytest.mark.parametrize("minutes", [12.0, 20.0, 40.0])
@pytest.mark.parametrize("rate", [1.0, 3.0])
def test_more_minutes_never_widen_the_expected_interval(minutes: float, rate: float):
    decay = decay_of(minutes, rate=rate)
    expected = expected_half_widths(decay)
    assert expected.size > 0
    assert (np.diff(expected) <= 1e-12).all()
    assert expected[0] <= (relative_half_width(decay) or 0.0) + 1e-12


def test_the_expected_interval_is_near_the_one_that_comes():
    """Median over seeds, ten minutes ahead; the study has the whole distribution."""
    ratios = []
    for seed in range(12):
        expected = expected_half_widths(decay_of(20.0, seed=seed))[9]
        ratios.append((relative_half_width(decay_of(30.0, seed=seed)) or 0.0) / expected)
    assert 0.6 < float(np.median(ratios)) < 1.6


def test_the_advice_ends_with_the_fit_window():
    """Until the excess is a hundredth of its start, and as long again for the background; not later."""
    decay = decay_of(20.0, rate=6.0)
    assert decay.fit is not None
    assert decay.fit.decay_rate is not None
    window_min = 60 * (decay.fit.window_end_h - decay.fit.window_start_h)
    end_min = 2 * 60 * np.log(100) / decay.fit.decay_rate.value
    assert expected_half_widths(decay).size == int(end_min - window_min)
    assert expected_half_widths(decay_of(110.0, rate=6.0)).size == 0
    assert expected_half_widths(decay_of(60.0, rate=0.2)).size == MOST_MORE_MIN


def test_the_next_step_is_a_round_figure_that_is_reached():
    decay = decay_of(8.0)
    precision = precision_of(decay)
    assert precision is not None
    assert precision.more_min is not None
    assert precision.then is not None
    expected = expected_half_widths(decay)
    assert precision.then == expected[precision.more_min - 1]
    assert precision.then < precision.now
    assert precision_of(decay_of(1.0)) is None  # no rate yet


def test_a_level_that_does_not_fall_has_no_precision():
    assert precision_of(decay_of(30.0, rate=0.0)) is None or not precision_of(decay_of(30.0, rate=0.0)).may_stop  # type: ignore[union-attr]

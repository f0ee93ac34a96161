"""The systematic budget of a decay rate: its lines, and their place in the interval."""

import math

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.decay.systematic import LINEARITY, SystematicParts, budget, budget_of, parts_of
from app.compute.signal.logger_timing import LoggerTiming

TIME_S = np.arange(0.0, 7200.0, 10.0)


def trial(before_min: float, seed: int = 1, warm_up: float = 0.0) -> ChannelDecay:
    """Minutes at 5 µg/m³, then 400 µg/m³ at once and a decay of 3 per hour; the gain may be in excess at first."""
    hours = (TIME_S - 60 * before_min) / 3600
    level = np.where(hours < 0, 5.0, 2.0 + 400 * np.exp(-3 * np.maximum(hours, 0.0)))
    level = level * (1 + warm_up * np.exp(-TIME_S / 600))
    level = level * (1 + 0.01 * np.random.default_rng(seed).standard_normal(TIME_S.size))
    marks = Marks(unit_on_h=before_min / 60)
    return analyse_decay(TIME_S, np.round(level, 1), channel="pm2_5", unit="µg/m³", marks=marks)


def test_the_uncertainty_of_the_rate_is_the_root_of_the_sum_of_squares_of_its_parts():
    fit = trial(15.0).fit
    parts = parts_of(fit)
    of_fit = fit.statistical_uncertainty_per_h
    whole = math.hypot(of_fit, LINEARITY * fit.decay_rate.value, parts.warm_up, parts.window)
    assert fit.decay_rate.uncertainty == pytest.approx(whole)
    assert 0 < parts.background_drift < of_fit  # the drift is part of the fit's own uncertainty
    assert fit.covariance[2][2] == pytest.approx(fit.decay_rate.uncertainty**2, rel=1e-6)


def test_without_readings_before_the_smoke_no_drift_is_assumed_beside_the_free_background():
    assert parts_of(trial(0.0).fit).background_drift == 0


def test_a_sensor_that_was_on_for_longer_adds_less():
    early, late = (parts_of(trial(minutes).fit).warm_up for minutes in (5.0, 30.0))
    assert early > 3 * late > 0


def test_the_warm_up_line_is_the_shift_that_six_percent_of_gain_would_make():
    """The same readings with and without 6 % of gain at the first reading that fades in ten minutes; no drift."""
    moved = [trial(0.0, seed, 0.06).fit.decay_rate.value - trial(0.0, seed).fit.decay_rate.value for seed in range(6)]
    assert abs(np.mean(moved)) == pytest.approx(parts_of(trial(0.0).fit).warm_up, rel=0.3)


def test_lines_are_sorted_by_size_and_assumptions_come_last_with_zero():
    lines = budget(2.0, SystematicParts(background_drift=0.01, warm_up=0.002, window=0.1, humidity=0.03), 0.02)
    shown = [line.relative_uncertainty for line in lines]
    assert [line.source for line in lines][:3] == ["mixing and choice of window", "room volume", "humidity"]
    assert shown == sorted(shown, reverse=True)
    assumed = [line for line in lines if line.relative_uncertainty == 0]
    assert [line.source for line in assumed] == ["gain drift", "coincidence losses", "time stamp"]
    assert all("common practice, no source" in line.basis for line in assumed[:2])


@pytest.mark.parametrize(
    ("timing", "said"),
    [
        (LoggerTiming(60.0, "end"), "means over 60 s, stamped at their end, so times are corrected by 30 s"),
        (LoggerTiming(120.0, "start"), "means over 120 s, stamped at their start, so times are corrected by 60 s"),
        (LoggerTiming(60.0, "middle"), "means over 60 s, stamped at their middle, so no time is corrected"),
        (LoggerTiming(0.0), "entered for this logger: each reading is of the moment of its stamp"),
        (LoggerTiming(60.0), "nothing is entered for this logger, so the stamp counts as the middle"),
        (LoggerTiming(), "nothing is entered for this logger, so the stamp counts as the middle"),
    ],
)
def test_the_line_of_the_time_stamp_says_what_was_entered(timing, said):
    *_, line = budget_of(trial(5.0).fit, 0.02, 0.01, timing)
    assert line.source == "time stamp"
    assert line.basis.startswith("moves unit on and time to clear, not the rate; ")
    assert said in line.basis


def test_the_budget_of_no_rate_is_empty():
    decay = analyse_decay([0.0, 10.0], [5.0, 5.0], channel="pm2_5", unit="µg/m³")
    assert budget_of(decay.fit) == ()

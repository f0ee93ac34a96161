"""What must hold of any decay: shifts, scales, more readings, and any readings whatever; and the coverage in small."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.compute.decay.analysis import analyse_decay, decay_curve
from app.compute.decay.result import ChannelDecay, ClearLevel, Marks
from app.compute.statistics.measured import Measured
from tests.studies.decay_coverage import cell, simulate
from tests.studies.simulated_trial import Conditions, simulated_trial


def analysed(elapsed_s: object, levels: object, **choices: object) -> ChannelDecay:
    return analyse_decay(elapsed_s, levels, channel="pm2_5", unit="µg/m³", **choices)


def rate_of(elapsed_s: object, levels: object, **choices: object) -> Measured:
    return analysed(elapsed_s, levels, **choices).fit.decay_rate


def trial(**changes: object) -> tuple[np.ndarray, np.ndarray]:
    usual = {
        "rate_per_h": 3.0, "interval_s": 10.0, "autocorrelation": 0.5, "step": 0.1, "run_min": 60.0,
        "background": 5.0, "before_smoke": True,
    }  # fmt: skip
    return simulated_trial(np.random.default_rng(7), Conditions(**{**usual, **changes}))


def test_about_nineteen_of_twenty_intervals_hold_the_truth_in_400_simulated_trials():
    """The study in tests/studies in small; of about 150 silent trials the standard error of the share is 1.8 %."""
    outcomes = [simulate(number) for number in range(400)]
    silent = cell("silent", [o for o in outcomes if o.silent])
    everything = cell("all", outcomes)
    assert silent.trials > 130
    assert 0.93 <= silent.coverage <= 0.99
    assert everything.coverage >= 0.92
    assert abs(silent.median_error) < 0.01


@settings(max_examples=40, deadline=None)
@given(rate=st.floats(0.3, 15), background=st.floats(0, 30), start=st.floats(100, 2000))
def test_a_curve_built_with_a_known_rate_gives_it_back(rate, background, start):
    time = np.arange(0.0, 3600 * min(max(4 / rate, 0.4), 8), 20.0)
    found = rate_of(time, background + start * np.exp(-rate * time / 3600), marks=Marks(unit_on_h=0.0))
    assert found.value == pytest.approx(rate, rel=2e-3)


@settings(max_examples=20, deadline=None)
@given(shift_s=st.floats(0, 1e6))
def test_moving_all_times_moves_no_rate(shift_s):
    time, level = trial()
    first, moved = analysed(time, level), analysed(time + shift_s, level)
    assert moved.fit.decay_rate.value == pytest.approx(first.fit.decay_rate.value, rel=1e-5)
    assert moved.fit.decay_rate.uncertainty == pytest.approx(first.fit.decay_rate.uncertainty, rel=1e-3)
    assert moved.unit_on_h - shift_s / 3600 == pytest.approx(first.unit_on_h, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(factor=st.floats(1e-3, 1e3))
def test_another_unit_of_the_level_moves_no_rate(factor):
    time, level = trial()
    first, scaled = analysed(time, level), analysed(time, factor * level)
    assert scaled.fit.decay_rate.value == pytest.approx(first.fit.decay_rate.value, rel=1e-4)
    assert scaled.fit.decay_rate.uncertainty == pytest.approx(first.fit.decay_rate.uncertainty, rel=1e-2)
    assert scaled.fit.background.value == pytest.approx(factor * first.fit.background.value, rel=1e-2)


def test_twice_as_fast_a_clock_gives_twice_the_rate():
    time = np.arange(0.0, 3600.0, 10.0)
    level = 5 + 300 * np.exp(-2 * time / 3600)
    marks = Marks(unit_on_h=0.0, fit_start_h=0.0)
    assert rate_of(time / 2, level, marks=marks).value == pytest.approx(
        2 * rate_of(time, level, marks=marks).value, rel=1e-4
    )


def test_more_readings_shrink_the_uncertainty():
    widths = []
    for interval_s in (60.0, 10.0, 1.0):
        conditions = Conditions(3.0, interval_s, 0.0, 0.1, 60, 5, True)
        fits = [analysed(*simulated_trial(np.random.default_rng(seed), conditions)).fit for seed in range(12)]
        # the part from the readings; what the sensor's warm-up may add does not depend on their number
        widths.append(np.median([fit.statistical_uncertainty_per_h for fit in fits]))
    assert widths[0] > 1.5 * widths[1] > 2.25 * widths[2]


def test_noise_that_drifts_widens_the_interval():
    widths = []
    for autocorrelation in (0.0, 0.8, 0.95):
        conditions = Conditions(3.0, 10.0, autocorrelation, 0.1, 60, 5, True)
        rates = [rate_of(*simulated_trial(np.random.default_rng(seed), conditions)) for seed in range(12)]
        widths.append(np.median([rate.uncertainty for rate in rates]))
    assert widths[0] < widths[1] < widths[2]


def test_values_that_are_held_and_left_out_change_nothing():
    time, level = trial(interval_s=60.0)
    with_held_time = np.repeat(time, 3) + np.tile([0.0, 20.0, 40.0], time.size)
    with_held = np.column_stack([level, np.full((time.size, 2), np.nan)]).ravel()
    first, second = analysed(time, level), analysed(with_held_time, with_held)
    assert second.fit.decay_rate == first.fit.decay_rate
    assert second.readings == first.readings


finite = st.floats(-1e6, 1e6, allow_nan=False)
maybe = st.one_of(st.none(), st.floats(-5, 5))


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    steps=st.lists(st.sampled_from([0.0, 1.0, 10.0, 60.0, 960.0, 1e5]), max_size=60),
    values=st.lists(st.one_of(finite, st.just(math.nan), st.just(0.0), st.just(7.0)), min_size=60, max_size=60),
    on=maybe,
    start=maybe,
    end=maybe,
    kind=st.sampled_from(["absolute", "share_of_start", "background"]),
    empty_room=st.booleans(),
)
def test_any_readings_give_a_result_or_a_reason(steps, values, on, start, end, kind, empty_room):
    time = np.cumsum(steps)
    decay = analysed(
        time, values[: time.size], marks=Marks(unit_on_h=on, fit_start_h=start, fit_end_h=end),
        clear_level=ClearLevel(kind, 0.5), empty_room=empty_room,
    )  # fmt: skip
    decay_curve(decay, [0.0, 10.0])
    rate = decay.fit.decay_rate
    if rate is None:
        assert decay.fit.why_not
        assert not decay.usable
    else:
        assert np.isfinite([rate.value, rate.uncertainty, rate.degrees_of_freedom, decay.fit.r_squared]).all()
        assert np.isfinite(decay.fit.covariance).all()

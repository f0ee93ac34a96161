"""When a reading counts: means over a minute, stamped at different places, of one true exponential."""

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ClearLevel, Marks
from app.compute.signal.logger_timing import NOT_KNOWN, LoggerTiming
from app.services.results.analyse_channels import AnalysisTerms, analyse_channels

RATE_PER_H, MEAN_S, ON_S = 6.0, 60.0, 300.0
LEVEL = ClearLevel("absolute", 20.0)
TRUE_MIN = 10 * np.log(400 / 15)  # of 5 + 400 exp(−6 t) to fall to 20


def _analysed(timing: LoggerTiming, stamp: str):
    """Exact means of 5 + 400 exp(−6 t) over a minute each, from unit on, which is marked."""
    middle_s = ON_S + np.arange(30.0, 4800.0, MEAN_S)
    half = RATE_PER_H * MEAN_S / 7200
    levels = 5 + 400 * np.exp(-RATE_PER_H * (middle_s - ON_S) / 3600) * np.sinh(half) / half
    stamps_s = middle_s + {"start": -30.0, "middle": 0.0, "end": 30.0}[stamp]
    terms = AnalysisTerms(marks=Marks(unit_on_h=ON_S / 3600), clear_level=LEVEL, timing=timing)
    return analyse_channels(stamps_s, {"pm2_5": levels}, {"pm2_5": "µg/m³"}, terms)["pm2_5"]


@pytest.mark.parametrize(("stamp", "late_min"), [("start", -0.5), ("middle", 0.0), ("end", 0.5)])
def test_a_stamp_moves_the_time_to_clear_by_half_its_averaging_time_and_the_rate_not(stamp: str, late_min: float):
    found, corrected = (_analysed(each, stamp) for each in (NOT_KNOWN, LoggerTiming(MEAN_S, stamp)))
    assert corrected.time_to_clear.value_min == pytest.approx(TRUE_MIN, abs=0.1)
    late = found.time_to_clear.value_min - corrected.time_to_clear.value_min
    assert late == pytest.approx(late_min, abs=1e-6)
    for decay in (found, corrected):
        assert decay.fit.decay_rate.value == pytest.approx(RATE_PER_H, rel=2e-3)
    assert corrected.late_h == late_min / 60


def test_a_known_stamp_takes_the_rectangle_of_one_interval_out_of_the_time_to_clear():
    """GUM 4.3.7: a rectangle of width a has a standard uncertainty of a/√12."""
    found, known = (_analysed(each, "middle") for each in (NOT_KNOWN, LoggerTiming(MEAN_S, "middle")))
    shares = [decay.time_to_clear.uncertainty_min**2 for decay in (found, known)]
    assert shares[0] - shares[1] == pytest.approx(1.0 / 12, rel=1e-6)


@pytest.mark.parametrize(
    ("timing", "is_known"),
    [
        (NOT_KNOWN, False),
        (LoggerTiming(60.0), False),
        (LoggerTiming(None, "end"), False),
        (LoggerTiming(0.0), True),
        (LoggerTiming(60.0, "end"), True),
    ],
)
def test_both_are_needed_unless_readings_are_momentary(timing: LoggerTiming, is_known: bool):
    assert timing.is_known is is_known
    assert bool(timing.late_s) is (timing == LoggerTiming(60.0, "end"))
    assert timing.open_h(0.5) == (0.0 if is_known else 0.5)


def test_a_sensor_on_before_its_log_has_less_warm_up_in_the_rate():
    """The excess of the gain falls by e in ten minutes, so after thirty a twentieth is left (e⁻³ = 0.0498)."""
    time_s = np.arange(0.0, 3600.0, 10.0)
    levels = 5 + 400 * np.exp(-RATE_PER_H * time_s / 3600) + np.random.default_rng(3).normal(0, 0.5, time_s.size)
    cold, warm = (
        analyse_decay(time_s, levels, channel="pm2_5", unit="µg/m³", marks=Marks(unit_on_h=0.0), timing=timing).fit
        for timing in (NOT_KNOWN, LoggerTiming(on_before_min=30.0))
    )
    assert warm.warm_up_uncertainty_per_h / cold.warm_up_uncertainty_per_h == pytest.approx(np.exp(-3), rel=1e-6)
    assert warm.decay_rate.value == cold.decay_rate.value
    assert warm.decay_rate.uncertainty < cold.decay_rate.uncertainty

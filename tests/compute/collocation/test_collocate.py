"""Two simulated loggers in one room, and logs that cannot be compared."""

from dataclasses import replace

import numpy as np
import pytest

from app.compute.collocation.alignment import Levels, find_offset, noise_of
from app.compute.collocation.clean_air_and_warm_up import clean_air, warm_up
from app.compute.collocation.collocate import collocate
from app.compute.collocation.performance import AgainstReference, Precision, precision_between, targets_of
from app.errors import InvalidValue
from tests.compute.collocation.loggers import logger, true_level

REFERENCE = logger(1, name="A")


def test_offset_slope_and_intercept_are_found():
    found = collocate(REFERENCE, logger(2, offset_s=47.0, gain=1.1, zero=2.0))
    assert found.clock.offset_s == pytest.approx(47.0, abs=2 * found.clock.uncertainty_s)
    assert found.clock.uncertainty_s < 10
    assert found.line.slope.low_95 < 1.1 < found.line.slope.high_95
    assert found.line.intercept.low_95 < 2.0 < found.line.intercept.high_95
    assert found.line.slope.uncertainty < 0.02
    assert found.is_linear
    assert found.against.r_squared > 0.99


def test_a_logger_that_reads_more_at_high_levels_is_not_linear():
    found = collocate(REFERENCE, logger(2, curvature=5e-4))
    assert found.line.curvature.low_95 < 5e-4 < found.line.curvature.high_95
    assert any("is not linear against A" in note for note in found.notes)


def test_offsets_of_many_pairs_scatter_no_more_than_their_uncertainty():
    errors = []
    for seed in range(10, 22):
        offset = find_offset(logger(seed), logger(seed + 100, offset_s=7.3, first_s=3.0), within_s=600.0)
        errors.append((offset.offset_s - 7.3) / offset.uncertainty_s)
    assert np.sqrt(np.mean(np.square(errors))) < 1.2


def test_ten_hours_between_clocks_are_refused_with_the_offset_to_enter_and_found_with_it():
    late = logger(2, offset_s=36_000.0, first_s=36_000.0)
    with pytest.raises(InvalidValue, match=r"share 0 min of their clocks.*Shifted by 3(5|6)\d{3} s \(10\.00 h\)"):
        collocate(REFERENCE, late)
    found = collocate(REFERENCE, late, expected_s=36_000.0)
    assert found.clock.offset_s == pytest.approx(36_000.0, abs=2 * found.clock.uncertainty_s)
    assert any("ahead of that of A" in note for note in found.notes)


def test_clocks_further_apart_than_searched_are_refused():
    with pytest.raises(InvalidValue, match=r"further apart than the 5 min searched|do not follow each other"):
        collocate(REFERENCE, logger(2, offset_s=420.0), within_s=300.0)


def _flat(level: float) -> Levels:
    return replace(REFERENCE, name="B", level=np.full(len(REFERENCE.level), level))


def _noise() -> Levels:
    return replace(REFERENCE, name="B", level=20 + np.random.default_rng(3).standard_normal(len(REFERENCE.level)))


def _walk() -> Levels:
    steps = np.random.default_rng(8).standard_normal(len(REFERENCE.level))
    return replace(REFERENCE, name="B", level=200 + np.cumsum(steps))


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (replace(REFERENCE, name="B"), "same readings to the last digit"),
        (_flat(12.0), "The log of B is constant at 12"),
        (_noise(), "times its noise of"),
        (_walk(), "do not follow each other|further apart"),
        (logger(2, first_s=90_000.0, offset_s=90_000.0), "share 0 min of their clocks"),
        (Levels("B", REFERENCE.time_s[:5], REFERENCE.level[:5]), "has 5 usable readings"),
        (replace(REFERENCE, name="B", level=np.full(len(REFERENCE.level), np.nan)), "has 0 usable readings"),
        (logger(2, minutes=8.0, first_s=650.0), "share 8 min of their clocks"),
    ],
    ids=["identical", "constant", "noise", "another room", "another day", "short", "another channel", "8 minutes"],
)
def test_logs_that_cannot_be_compared_are_refused_with_the_reason(other: Levels, words: str):
    with pytest.raises(InvalidValue, match=words):
        collocate(REFERENCE, other)


def test_a_saturated_logger_is_compared_below_its_limit():
    other = logger(2, gain=1.2)
    cut = replace(other, level=np.minimum(other.level, 200.0))
    found = collocate(REFERENCE, cut)
    assert found.saturated == int((other.level >= 200.0).sum())
    assert any("B was at its limit" in note for note in found.notes)
    assert found.line.slope.low_95 < 1.2 < found.line.slope.high_95
    known = collocate(REFERENCE, other, limits=(None, 200.0))
    assert known.saturated == found.saturated


def test_noise_does_not_count_a_smooth_change():
    assert noise_of(true_level(np.arange(0, 600.0, 10.0))) < 1e-9
    assert noise_of(logger(3, noise=0.0).level) == pytest.approx(0.3, rel=0.2)


def test_the_limit_of_detection_is_three_standard_deviations_with_a_chi_square_interval():
    """Interval of a standard deviation of 30 normal readings; chi-square 0.025 and 0.975 points for 29 degrees of
    freedom are 16.047 and 45.722 (common statistical tables; from memory).
    """
    level = 1.5 + 0.2 * np.array([-1.0, 1.0] * 15)
    found = clean_air(Levels("A", np.arange(30.0), level))
    sd = 0.2 * np.sqrt(30 / 29)
    assert found.zero.value == pytest.approx(1.5)
    assert found.detection_limit == pytest.approx(3 * sd)
    assert found.detection_limit_low == pytest.approx(3 * sd * np.sqrt(29 / 45.722), rel=1e-4)
    assert found.detection_limit_high == pytest.approx(3 * sd * np.sqrt(29 / 16.047), rel=1e-4)


def test_a_short_stretch_of_clean_air_is_refused():
    with pytest.raises(InvalidValue, match="clean air of A has 5 readings; the limit of detection needs 20"):
        clean_air(Levels("A", np.arange(5.0), np.ones(5)))


def test_warm_up_ends_when_the_ratio_stays_within_three_per_cent():
    steady = logger(4, name="A", noise=0.0, minutes=60.0)
    excess = 1 + 0.2 * np.exp(-steady.time_s / 600)
    found = warm_up(steady, replace(steady, name="B", level=steady.level * excess))
    # 0.2 exp(-t / 10 min) falls below 0.03 (1 + its mean over the last third) at 18.7 min
    assert found.settled_after_min == pytest.approx(18.7, abs=1.0)
    assert found.first_excess == pytest.approx(0.2, abs=0.02)


def test_a_short_or_empty_warm_up_is_refused():
    short = logger(4, name="A", minutes=10.0)
    with pytest.raises(InvalidValue, match="a warm-up check needs 15 min"):
        warm_up(short, short)
    dark = replace(REFERENCE, level=np.zeros(len(REFERENCE.level)))
    with pytest.raises(InvalidValue, match="their ratio is not defined"):
        warm_up(REFERENCE, dark)


def test_measures_beside_the_published_targets():
    """US EPA, EPA/600/R-20/280, 2021: slope 1.0 ± 0.35, intercept -5 to 5 µg/m³, SD <= 5 µg/m³ or CV <= 30 %,
    R² >= 0.70, RMSE <= 7 µg/m³ or NRMSE <= 30 %; read in the agency's public toolkit.
    """
    inside = targets_of(0.65, -5.0, Precision(9.0, 30.0), AgainstReference(0.70, 7.0, 80.0), "µg/m³")
    outside = targets_of(1.36, 5.1, Precision(5.1, 30.1), AgainstReference(0.69, 7.1, 30.1), "µg/m³")
    assert [each.within for each in inside] == [True] * 5
    assert [each.within for each in outside] == [False] * 5


def test_precision_is_the_published_formula_by_hand():
    """SD of two loggers at two times: squares about each time's mean are 1 + 1 + 1 + 1, over 2 x 2 - 1."""
    found = precision_between(np.array([[10.0, 20.0], [12.0, 18.0]]))
    assert found.sd == pytest.approx(np.sqrt(4 / 3))
    assert found.cv_pct == pytest.approx(100 * np.sqrt(4 / 3) / 15)

"""Survival curve against the remission times of two groups of leukaemia patients.

Source: Freireich et al., Blood 21, 699-716, 1963. Standing: the 42 times were read in the data that the lifelines
library ships; the textbook column (Kleinbaum and Klein) is from memory, equal to the recomputed values; exact
survival, Greenwood errors and medians were recomputed and cross-checked with lifelines.
"""

import math

import pytest
from lifelines import KaplanMeierFitter
from lifelines.utils import median_survival_times

from app.compute.statistics.survival import survival_curve

# weeks in remission; a plus in the original means still in remission when last seen
# fmt: off
TREATED = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
TREATED_SEEN = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
CONTROL = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
# fmt: on

# week, at risk, events, textbook survival, exact survival, Greenwood error
TREATED_CURVE = [
    (6, 21, 3, 0.8571, 0.85714286, 0.07636035),
    (7, 17, 1, 0.8067, 0.80672269, 0.08693529),
    (10, 15, 1, 0.7529, 0.75294118, 0.09634965),
    (13, 12, 1, 0.6902, 0.69019608, 0.10681471),
    (16, 11, 1, 0.6275, 0.62745098, 0.11405387),
    (22, 7, 1, 0.5378, 0.53781513, 0.12823375),
    (23, 6, 1, 0.4482, 0.44817927, 0.13459146),
]
CONTROL_CURVE = [
    (1, 21, 2, 0.90476190, 0.06405645),
    (2, 19, 2, 0.80952381, 0.08568909),
    (3, 17, 1, 0.76190476, 0.09294286),
    (4, 16, 2, 0.66666667, 0.10286890),
    (5, 14, 2, 0.57142857, 0.10798985),
    (8, 12, 4, 0.38095238, 0.10597117),
    (11, 8, 2, 0.28571429, 0.09858079),
    (12, 6, 2, 0.19047619, 0.08568909),
    (15, 4, 1, 0.14285714, 0.07636035),
    (17, 3, 1, 0.09523810, 0.06405645),
    (22, 2, 1, 0.04761905, 0.04647143),
    (23, 1, 1, 0.00000000, 0.00000000),
]


def treated():
    return survival_curve(TREATED, [bool(s) for s in TREATED_SEEN])


def test_the_censored_group_has_the_textbook_curve():
    curve = treated()
    found = list(zip(curve.times, curve.at_risk, curve.events, strict=True))
    assert found == [row[:3] for row in TREATED_CURVE]
    assert [round(s, 4) for s in curve.survival] == [row[3] for row in TREATED_CURVE]
    assert curve.survival == pytest.approx([row[4] for row in TREATED_CURVE], abs=1e-8)
    assert curve.greenwood_error == pytest.approx([row[5] for row in TREATED_CURVE], abs=1e-8)


def test_the_complete_group_falls_to_zero_with_the_recomputed_errors():
    curve = survival_curve(CONTROL, [True] * 21)
    assert list(zip(curve.times, curve.at_risk, curve.events, strict=True)) == [row[:3] for row in CONTROL_CURVE]
    assert curve.survival == pytest.approx([row[3] for row in CONTROL_CURVE], abs=1e-8)
    assert curve.greenwood_error == pytest.approx([row[4] for row in CONTROL_CURVE], abs=1e-8)


def test_the_medians_are_23_and_8_weeks():
    assert treated().median == 23
    assert survival_curve(CONTROL, [True] * 21).median == 8


@pytest.mark.parametrize(
    ("times", "seen"), [(TREATED, TREATED_SEEN), (CONTROL, [1] * 21), ([5, 5, 9, 9], [1, 0, 1, 0])]
)
def test_curve_interval_and_median_interval_agree_with_lifelines(times, seen):
    """lifelines 0.30, KaplanMeierFitter: log-log interval of the curve, and the interval of the median from it."""
    ours = survival_curve(times, [bool(s) for s in seen])
    reference = KaplanMeierFitter().fit(times, seen)
    assert ours.survival == pytest.approx(reference.survival_function_at_times(ours.times).tolist())
    bounds = reference.confidence_interval_.loc[list(ours.times)]
    assert ours.low_95 == pytest.approx(bounds.iloc[:, 0].tolist(), abs=1e-9)
    assert ours.high_95 == pytest.approx(bounds.iloc[:, 1].tolist(), abs=1e-9)
    low, high = median_survival_times(reference.confidence_interval_).iloc[0]
    assert (ours.median_low_95 or math.inf) == low
    assert (ours.median_high_95 or math.inf) == high

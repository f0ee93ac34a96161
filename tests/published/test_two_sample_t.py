"""The two-sample example of the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 (data set AUTO83B).

Standing: the summary figures, the equal-variance statistic, its critical value and its interval were read; the Welch
statistic and its degrees of freedom are from memory, equal to what was recomputed from the summary figures.
Unit: miles per US gallon, as published.
"""

import math

import numpy as np
import pytest

from app.compute.comparison.difference import compare_measured
from app.compute.statistics.measured import Measured, coverage_factor_95
from app.compute.statistics.measured_columns import one_sided_factors_95

FIRST = {"n": 249, "mean": 20.14458, "sd": 6.41470}
SECOND = {"n": 79, "mean": 30.48101, "sd": 6.10771}


def sample_mean(sample):
    return Measured(sample["mean"], sample["sd"] / math.sqrt(sample["n"]), sample["n"] - 1)


def test_the_difference_of_two_means_has_welch_degrees_of_freedom():
    found = compare_measured(sample_mean(FIRST), sample_mean(SECOND))
    assert found.difference.value / found.difference.uncertainty == pytest.approx(-12.9463, abs=5e-5)
    assert found.difference.degrees_of_freedom == pytest.approx(136.875, abs=1e-3)
    assert found.told_apart
    assert found.probability_first_higher < 1e-20


def test_a_difference_with_pooled_variance_has_the_published_interval():
    """Equal variances: t = -12.62059 on 326 degrees, 95 % interval -11.947653 to -8.725216."""
    degrees = FIRST["n"] + SECOND["n"] - 2
    pooled = math.sqrt(((FIRST["n"] - 1) * FIRST["sd"] ** 2 + (SECOND["n"] - 1) * SECOND["sd"] ** 2) / degrees)
    assert pooled == pytest.approx(6.3426, abs=5e-5)
    error = pooled * math.sqrt(1 / FIRST["n"] + 1 / SECOND["n"])
    difference = Measured(FIRST["mean"] - SECOND["mean"], error, degrees)
    assert difference.value / error == pytest.approx(-12.62059, abs=1e-5)
    # the published interval was made from the unrounded data, ours from the printed summary figures
    assert difference.interval_95 == pytest.approx((-11.947653, -8.725216), abs=1e-5)


def test_the_critical_values_are_the_published_ones():
    assert coverage_factor_95(326) == pytest.approx(1.9673, abs=5e-5)
    assert one_sided_factors_95(np.array([326.0]))[0] == pytest.approx(1.6495, abs=5e-5)

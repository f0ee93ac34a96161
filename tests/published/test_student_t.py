"""Coverage factors against two public tables of Student's t.

Standing: read. Two-sided 95 %: NIST Technical Note 1297, Table B.1. One-sided 95 %: NIST/SEMATECH e-Handbook of
Statistical Methods, upper critical values of Student's t (a copy in a web document).
"""

import math

import numpy as np
import pytest

from app.compute.statistics.measured import coverage_factor_95
from app.compute.statistics.measured_columns import one_sided_factors_95

# fmt: off
TWO_SIDED_95 = {
    1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 6: 2.45, 7: 2.36, 8: 2.31, 9: 2.26, 10: 2.23, 11: 2.20, 12: 2.18,
    13: 2.16, 14: 2.14, 15: 2.13, 16: 2.12, 17: 2.11, 18: 2.10, 19: 2.09, 20: 2.09, 25: 2.06, 30: 2.04, 35: 2.03,
    40: 2.02, 45: 2.01, 50: 2.01, 100: 1.984, math.inf: 1.960,
}
ONE_SIDED_95 = {
    1: 6.314, 2: 2.920, 3: 2.353, 4: 2.132, 5: 2.015, 6: 1.943, 7: 1.895, 8: 1.860, 9: 1.833, 10: 1.812, 11: 1.796,
    12: 1.782, 13: 1.771, 14: 1.761, 15: 1.753, 16: 1.746, 17: 1.740, 18: 1.734, 19: 1.729, 20: 1.725, 25: 1.708,
    30: 1.697, 40: 1.684, 60: 1.671, 100: 1.660, math.inf: 1.645,
}
# fmt: on


@pytest.mark.parametrize(("degrees", "printed"), TWO_SIDED_95.items())
def test_two_sided_factor_is_the_printed_one(degrees, printed):
    assert coverage_factor_95(degrees) == pytest.approx(printed, abs=0.005 if printed not in (1.984, 1.960) else 5e-4)


@pytest.mark.parametrize(("degrees", "printed"), ONE_SIDED_95.items())
def test_one_sided_factor_is_the_printed_one(degrees, printed):
    assert one_sided_factors_95(np.array([float(degrees)]))[0] == pytest.approx(printed, abs=5.1e-4)

"""Random-effects mean against statsmodels, and its bounds."""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from app.compute.statistics.random_effects import heterogeneity, paule_mandel_variance, random_effects

# decay rates per hour with the uncertainties of their fits, invented
CASES = [
    ([0.50, 0.62, 0.44], [0.02, 0.03, 0.02]),
    ([4.1, 4.6, 3.9, 4.4, 5.2], [0.10, 0.30, 0.05, 0.12, 0.20]),
    ([2.00, 2.03], [0.01, 0.015]),
    ([1.0, 1.01, 0.99, 1.02], [0.2, 0.3, 0.2, 0.25]),  # agrees better than its uncertainties: no spread between
]


def by_statsmodels(values, uncertainties):
    return combine_effects(np.array(values), np.array(uncertainties) ** 2, method_re="iterated", use_t=True)


@pytest.mark.parametrize(("values", "uncertainties"), CASES)
def test_mean_spread_and_heterogeneity_agree_with_statsmodels(values, uncertainties):
    """statsmodels 0.14 or later, combine_effects: Paule-Mandel iteration, Hartung-Knapp standard error, Q and I²."""
    ours = random_effects(values, uncertainties)
    reference = by_statsmodels(values, uncertainties)
    assert ours.between_sd**2 == pytest.approx(max(reference.tau2, 0.0), rel=1e-4, abs=1e-9)
    assert ours.mean == pytest.approx(reference.mean_effect_re, rel=1e-5)
    assert ours.hartung_knapp_uncertainty == pytest.approx(reference.sd_eff_w_re_hksj, rel=1e-4)
    assert ours.cochran_q == pytest.approx(reference.q)
    assert ours.heterogeneity_p == pytest.approx(reference.test_homogeneity().pvalue)
    assert ours.i_squared == pytest.approx(max(0.0, reference.i2))
    assert ours.weights == pytest.approx(reference.weights_rel_re, rel=1e-4)


def test_with_equal_uncertainties_the_mean_has_its_ordinary_standard_error():
    """All weights alike: standard deviation of the values over the root of their number, on n - 1 degrees."""
    values = [3.0, 4.0, 5.5, 4.5]
    ours = random_effects(values, [0.1] * 4)
    assert ours.mean == pytest.approx(np.mean(values))
    assert ours.uncertainty == pytest.approx(np.std(values, ddof=1) / 2)
    assert ours.degrees_of_freedom == 3


def test_the_robust_uncertainty_takes_over_where_one_precise_value_dominates():
    ours = random_effects([1.0, 1.4, 0.9, 1.3], [0.01, 0.3, 0.3, 0.3])
    assert ours.uncertainty > ours.hartung_knapp_uncertainty


def test_values_that_agree_have_no_spread_between_them():
    assert paule_mandel_variance(np.array([1.0, 1.01, 0.99]), np.array([0.01, 0.01, 0.01])) == 0.0


def test_the_between_variance_solves_its_equation():
    values, variances = np.array([4.1, 4.6, 3.9, 4.4, 5.2]), np.array([0.01, 0.09, 0.0025, 0.0144, 0.04])
    w = 1 / (variances + paule_mandel_variance(values, variances))
    assert w @ (values - w @ values / w.sum()) ** 2 == pytest.approx(4.0, rel=1e-9)


def test_equal_values_have_no_heterogeneity():
    assert heterogeneity(np.array([2.0, 2.0]), np.array([0.1, 0.1])) == (0.0, 1.0, 0.0)


@pytest.mark.parametrize(
    ("values", "uncertainties", "message"),
    [
        ([1.0], [0.1], r"^A random-effects mean needs 2 values and found 1\.$"),
        ([1.0, 2.0], [0.1], r"^There are 2 values and 1 uncertainties; each value needs one\.$"),
        ([1.0, 2.0], [0.1, 0.0], r"^An uncertainty is 0\.0; each must be above zero\.$"),
    ],
)
def test_what_cannot_be_combined_is_refused(values, uncertainties, message):
    with pytest.raises(ValueError, match=message):
        random_effects(values, uncertainties)

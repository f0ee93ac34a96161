"""The decay analysis against formulas, a reference library, and two share-alike logs that stay outside this tree.

The two logs are read from the folder beside the project where that exists; without it those tests are skipped.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from statsmodels.api import GLS, GLSAR

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.signal.autocorrelation import whitener
from app.compute.signal.blocks import Blocks
from app.compute.signal.exponential_fit import fit_exponential, quick_fit
from app.compute.signal.fitting import scaled_inverse
from app.compute.signal.noise import NoiseModel
from app.compute.signal.rate_table import BackgroundBounds
from tests.studies.simulated_trial import autocorrelated_noise

SHARED = Path(__file__).resolve().parents[3] / "shared"
BEDROOM = SHARED / "data" / "decay_bedroom_cleaner_on_handheld_1min.csv"
ELIMINATION = SHARED / "data" / "first_order_elimination_6subjects.csv"


def _analysed(elapsed_s: object, levels: object, **choices: object) -> ChannelDecay:
    return analyse_decay(elapsed_s, levels, channel="pm2_5", unit="µg/m³", **choices)


@pytest.mark.parametrize("air_changes_per_h", [2, 4, 6, 8, 10, 12])
def test_the_two_point_rate_is_the_fitted_one(air_changes_per_h):
    """Two-point formula of tracer decay, A = ln(C1/C2)/(t2 - t1) (read; quoting ASTM E741), on a run that ends at the
    99 % removal time of US CDC 2003, Table B.1 (read; equal to ln(100)/air changes)."""
    end_h = math.log(100) / air_changes_per_h
    time_h = np.linspace(0.0, end_h, 200)
    level = 500 * np.exp(-air_changes_per_h * time_h)
    fit = _analysed(3600 * time_h, level, marks=Marks(unit_on_h=0.0, background_level=0.0)).fit
    two_points = math.log(level[20] / level[180]) / (time_h[180] - time_h[20])
    assert fit.decay_rate.value == pytest.approx(two_points, rel=1e-4)
    assert 60 * math.log(100) / fit.decay_rate.value == pytest.approx(60 * end_h, rel=1e-4)


def test_an_exact_curve_over_a_background_gives_its_rate_although_a_log_fit_does_not():
    """Made for this project, recomputed: 30 m³, 6.4 per hour, background 4; a log fit that leaves the background in
    reads 6.009 per hour."""
    time_h = np.arange(0.0, 31.0) / 60
    fit = _analysed(3600 * time_h, 4 + 396 * np.exp(-6.4 * time_h)).fit
    assert fit.decay_rate.value == pytest.approx(6.4, rel=1e-4)
    assert fit.background.value == pytest.approx(4.0, abs=0.01)


def test_the_same_curve_with_two_percent_deviations_holds_its_rate():
    """The same with fixed deviations of ±2 % (our own numbers here, alternating signs in pairs)."""
    time_h = np.arange(0.0, 31.0) / 60
    signs = np.resize([1, 1, -1, 1, -1, -1, 1, -1], 31)
    fit = _analysed(3600 * time_h, (4 + 396 * np.exp(-6.4 * time_h)) * (1 + 0.02 * signs)).fit
    assert fit.decay_rate.low_95 < 6.4 < fit.decay_rate.high_95
    assert fit.decay_rate.uncertainty < 0.2


def test_generalised_least_squares_gives_the_standard_errors_of_the_reference_library():
    """statsmodels GLS with the covariance written out, on the columns of a decay with AR(1) noise and rounding."""
    time_h = np.arange(90) / 60
    decayed = np.exp(-2 * time_h)
    design = np.column_stack([np.ones(90), decayed, -300 * time_h * decayed])
    correlated, independent = 0.03 * (5 + 300 * decayed), np.full(90, 0.29)
    lags = np.abs(np.subtract.outer(np.arange(90), np.arange(90)))
    covariance = np.outer(correlated, correlated) * 0.8**lags + np.diag(independent**2)
    y = design @ [5.0, 300.0, 0.0] + np.random.default_rng(3).multivariate_normal(np.zeros(90), covariance)
    reference = GLS(y, design, sigma=covariance).fit()
    inverse = whitener(NoiseModel(correlated, independent, np.ones(89)), 0.8)
    ours = scaled_inverse(design.T @ inverse.times(design))
    best = ours @ (design.T @ inverse.times(y[:, None])[:, 0])
    assert best == pytest.approx(reference.params, rel=1e-6)
    assert np.sqrt(np.diag(ours) * reference.scale) == pytest.approx(reference.bse, rel=1e-6)


def _rates(autocorrelation: float, trials: int = 60) -> np.ndarray:
    """Rate, its uncertainty, and the standard error of statsmodels GLSAR on the linearised curve, trial by trial."""
    time_h = np.arange(120) / 60
    curve = 5 + 300 * np.exp(-2 * time_h)
    rows = []
    for seed in range(trials):
        noise = autocorrelated_noise(np.random.default_rng(seed), 120, autocorrelation)
        level = curve * (1 + 0.03 * noise)
        blocks = Blocks(time_h, level, np.ones(120), np.ones(119), np.zeros(120))
        bounds = BackgroundBounds(0.0, 12.0)
        fit = fit_exponential(blocks, bounds, quick_fit(blocks, bounds))
        decayed = np.exp(-fit.rate * time_h)
        columns = np.column_stack([np.ones(120), decayed, -fit.amplitude * time_h * decayed]) / curve[:, None]
        left = (level - fit.background - fit.amplitude * decayed) / curve
        reference = GLSAR(left, columns, rho=1).iterative_fit(maxiter=30)
        rows.append((fit.rate, fit.uncertainty, reference.bse[2]))
    return np.array(rows)


def test_without_autocorrelation_the_uncertainty_is_that_of_the_reference_library():
    """statsmodels GLSAR, 60 simulated decays with independent noise: both agree, and with the scatter of the rates."""
    rate, ours, reference = _rates(0.0).T
    assert np.median(ours / reference) == pytest.approx(1.0, abs=0.05)
    assert np.median(ours) == pytest.approx(rate.std(), rel=0.25)


def test_under_autocorrelation_the_uncertainty_is_not_below_the_scatter_of_the_rates():
    """statsmodels GLSAR trusts one estimate of φ (0.9 here): its standard error is about the scatter of our rates, and
    differs more from trial to trial. Ours, which carries what is not known of φ, is above the scatter by less than a
    third."""
    rate, ours, reference = _rates(0.9).T
    assert np.median(reference) == pytest.approx(rate.std(), rel=0.1)
    assert rate.std() < np.median(ours) < 1.33 * rate.std()
    assert (ours / np.median(ours)).std() < (reference / np.median(reference)).std()


@pytest.mark.skipif(not BEDROOM.exists(), reason="the log may not be copied here and its folder is not beside us")
def test_settled_readings_of_a_bedroom_agree_with_the_recomputed_rates_and_held_values_do_not_narrow_them():
    """A. Farrell, 2023, CC BY-SA 4.0; no published rate. Recomputed on six settled readings: 4.57 per h with background
    (2.61 to 6.53), 3.03 with the overnight floor of 4.18 taken off (2.11 to 3.96), 2.26 log-linear. Held one-minute
    rows counted as readings give ± 0.20, ten times too narrow."""
    minutes = np.array([0.0, 15, 31, 47, 63, 79])
    level = np.array([61.0, 22, 13, 10, 6, 4])
    decay = _analysed(60 * minutes, level, marks=Marks(unit_on_h=0.0, fit_start_h=0.0))
    low, high = decay.fit.decay_rate.interval_95
    assert low < 6.53
    assert high > 2.61
    assert low < 3.03 < high
    assert (high - low) / 2 > 5 * 0.20
    assert low < 4.57 < high
    notes = {note.code: note for note in decay.notes}
    assert "too_few_readings" in notes
    # a level that falls from 61 to 4 is not told to be standing still, though the interval is that wide
    assert "the readings show a rate of at least 1." in notes["decay_not_told_from_zero"].message


@pytest.mark.skipif(
    not ELIMINATION.exists(), reason="the data may not be copied here and their folder is not beside us"
)
@pytest.mark.parametrize(
    ("subject", "background_level", "said"),
    [
        (1, 0.0, True), (2, 0.0, True), (3, 0.0, False), (4, 0.0, False), (5, 0.0, False), (6, 0.0, True),
        (1, None, False), (6, None, True),
    ],
)  # fmt: skip
def test_two_exponentials_are_said_not_to_be_one(subject, background_level, said):
    """Kwan et al. 1976, by way of the R data sets, GPL; six subjects, the textbook case of two exponentials, 11 values.

    What is seen and what is not, both held here. With the background known (nothing of a drug is left in the end) the
    second rate is told in three of six; in 3 and 4 it has only 6 % of the amplitude, less than the tenth from which it
    is told, and in 5 noise with a memory explains the 11 values nearly as well.
    With the background free the slow rate of subject 1 passes for a background, as its 11 values allow."""
    rows = np.genfromtxt(ELIMINATION, delimiter=",", names=True)
    rows = rows[rows["Subject"] == subject]
    marks = Marks(unit_on_h=0.0, fit_start_h=0.0, fit_end_h=8.0, background_level=background_level)
    decay = _analysed(3600 * rows["time"], rows["conc"], marks=marks)
    assert ("not_one_exponential" in {note.code for note in decay.notes}) is said
    assert "too_few_readings" in {note.code for note in decay.notes}

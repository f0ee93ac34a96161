"""Settings of the noise that a fit considers, and the likelihood under each, beside dense matrices."""

import numpy as np
import pytest
from statsmodels.api import GLS

from app.compute.signal.blocks import block_means
from app.compute.signal.logger_noise import GENERIC
from app.compute.signal.noise_settings import (
    LONG_BELOW,
    MIXTURES,
    BlockNoise,
    Mixture,
    autocorrelation_of_blocks,
    flicker_covariance,
    noise_settings,
)
from app.compute.signal.rate_table import _without_drift, products


def noise_of(count: int) -> BlockNoise:
    level = 5 + 300 * np.exp(-np.linspace(0, 4, count))
    return BlockNoise(0.02 * level, np.full(count, 0.3), np.full(count, 0.03), np.ones(count - 1))


def settings_for(interval_s: float, count: int):
    time_h = interval_s * np.arange(count) / 3600
    return noise_settings(block_means(time_h, np.linspace(300, 5, count), interval_s / 3600, 0.1))


def test_the_memories_are_the_same_in_seconds_whatever_the_sampling():
    slow, fast = settings_for(60.0, 100), settings_for(30.0, 200)
    longest = [-each.block_s / np.log(each.autocorrelations[-1]) for each in (slow, fast)]
    assert longest == pytest.approx([1536.0, 1536.0], rel=1e-6)


def test_every_kind_of_noise_is_in_one_row():
    settings = settings_for(10.0, 400)
    assert settings.of_rows(GENERIC.probability).sum() == pytest.approx(1.0, abs=1e-4)
    assert settings.row_of_kind.size == GENERIC.probability.size
    assert set(settings.row_of_kind.tolist()) <= set(range(settings.rows))


@pytest.mark.parametrize("memory_s", [5.0, 20.0, 60.0, 150.0])
def test_a_short_memory_gives_the_long_run_variance_of_means(memory_s):
    """Means over 60 s of noise with the correlation exp(−t/τ), by summing its covariances on a grid of one second."""
    block, count = 60, 400
    second = np.arange(0.0, block, 0.25)
    of_lag = [np.exp(-np.abs(np.subtract.outer(second + block * far, second)) / memory_s).mean() for far in range(2)]
    further = of_lag[1] * np.exp(-block / memory_s) ** np.arange(count)
    long_run = of_lag[0] + 2 * further.sum()
    (phi,), (seen,) = autocorrelation_of_blocks(np.array([memory_s]), float(block))
    new = of_lag[0] * (1 + phi**2) - 2 * phi * of_lag[1]  # mean square of what is new in each block
    if block / memory_s < LONG_BELOW:
        assert seen == pytest.approx(new / (1 - phi**2), rel=0.01)  # a series of unit variance shows 1 - φ²
    else:
        assert seen == 1.0
        assert new / (1 - phi) ** 2 == pytest.approx(long_run, rel=0.01)


def test_products_and_determinants_are_those_of_dense_matrices():
    """Covariances written out, and the standard errors of statsmodels GLS under one of them."""
    count = 60
    noise, settings = noise_of(count), settings_for(60.0, count)
    columns = np.column_stack([np.ones(count), np.linspace(0, 1, count), np.linspace(0, 1, count) ** 2])
    sums, log_det = products(columns, noise, settings, few=False)
    lags = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    dense = [np.diag(noise.proportional**2 + noise.floor**2 + noise.rounding**2)]
    dense.append(flicker_covariance(noise, settings.block_s))
    for mixture in MIXTURES:
        for phi in settings.autocorrelations:
            model = noise.model(mixture, phi)
            dense.append(np.outer(model.correlated, model.correlated) * phi**lags + np.diag(model.independent**2))
    assert len(dense) == len(sums)
    for matrix, found, det in zip(dense, sums, log_det[:, 0], strict=True):
        assert found == pytest.approx(columns.T @ np.linalg.solve(matrix, columns), rel=1e-6)
        assert det == pytest.approx(np.linalg.slogdet(matrix)[1], abs=1e-6)
    y = columns @ [3.0, 2.0, 1.0] + np.random.default_rng(1).standard_normal(count)
    reference = GLS(y, columns, sigma=dense[-1]).fit()
    assert np.sqrt(np.diag(np.linalg.inv(sums[-1])) * reference.scale) == pytest.approx(reference.bse, rel=1e-6)


def test_a_drift_with_a_prior_is_a_term_of_the_covariance():
    """Ω + σ² t tᵀ, written out."""
    count, drift = 40, 0.7
    noise, settings = noise_of(count), settings_for(60.0, count)
    time = np.linspace(0.0, 2.0, count)
    columns = np.column_stack([np.ones(count), np.exp(-time), time])
    sums, log_det = _without_drift(*products(columns, noise, settings, few=True), drift)
    variance = noise.proportional**2 + noise.floor**2 + noise.rounding**2
    dense = np.diag(variance) + drift**2 * np.outer(time, time)
    assert sums[0] == pytest.approx(columns[:, :2].T @ np.linalg.solve(dense, columns[:, :2]), rel=1e-8)
    assert log_det[0, 0] == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-8)


def test_noise_with_a_memory_is_larger_than_its_changes_show():
    """First-order autoregressive series: half the mean square of the changes is σ² (1 − φ)."""
    noise = noise_of(30)
    of_memory = noise.model(Mixture(0.0, True), 0.9)
    assert of_memory.correlated**2 * (1 - 0.9) == pytest.approx(noise.proportional**2 + noise.floor**2)

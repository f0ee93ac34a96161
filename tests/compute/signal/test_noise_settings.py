"""Settings of the noise that a fit considers, and the likelihood under each, beside dense matrices."""

from dataclasses import replace

import numpy as np
import pytest
from statsmodels.api import GLS

from app.compute.signal.blocks import block_means
from app.compute.signal.logger_noise import GENERIC
from app.compute.signal.noise_settings import (
    MIXTURES,
    BlockNoise,
    Mixture,
    correlations_of_blocks,
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


@pytest.mark.parametrize("memory_s", [5.0, 60.0, 600.0, 6000.0])
@pytest.mark.parametrize("moments", [0, 1, 3])
def test_correlations_are_those_of_means_over_blocks(memory_s, moments):
    """Means over 60 s of noise with the correlation exp(−t/τ), by summing its covariances on a grid of a tenth of a
    second, or over the moments of readings."""
    second = np.arange(0.0, 60.0, 60.0 / moments if moments else 0.1)
    far = [np.exp(-np.abs(np.subtract.outer(second + 60 * d, second)) / memory_s).mean() for d in range(4)]
    (phi,), (neighbours,) = correlations_of_blocks(np.array([memory_s]), 60.0, moments)
    assert [neighbours, neighbours * phi, neighbours * phi**2] == pytest.approx(np.array(far[1:]) / far[0], rel=0.01)


def test_blocks_of_many_readings_do_not_show_whether_each_was_of_a_moment():
    many, single = settings_for(10.0, 900), settings_for(60.0, 100)
    assert [one.momentary for one in many.mixtures] == [False, False, False]
    assert [one.momentary for one in single.mixtures] == [False, False, False, True]
    of_moments, of_means = many.row_of_kind[2:].reshape(4, -1)[[3, 0]]
    assert of_moments.tolist() == of_means.tolist()


def of_means(neighbours: float, phi: float, place: np.ndarray) -> np.ndarray:
    """Correlations of means at these places, in blocks."""
    apart = np.abs(np.subtract.outer(place, place))
    return np.where(apart == 0, 1.0, neighbours * phi ** np.maximum(apart - 1, 0))


@pytest.mark.parametrize("missing", [(), (7, 8, 30)])
def test_products_and_determinants_are_those_of_dense_matrices(missing):
    """Covariances written out, with and without gaps, and the standard errors of statsmodels GLS under one of them."""
    place = np.delete(np.arange(60), missing)
    count = place.size
    noise = replace(noise_of(count), spacing=np.diff(place).astype(float))
    settings = settings_for(60.0, 60)
    columns = np.column_stack([np.ones(count), np.linspace(0, 1, count), np.linspace(0, 1, count) ** 2])
    sums, log_det = products(columns, noise, settings.noise_rows(noise), settings.block_s)
    dense = [np.diag(noise.proportional**2 + noise.floor**2 + noise.rounding**2)]
    dense.append(flicker_covariance(noise, settings.block_s) * np.outer(noise.proportional, noise.proportional))
    for mixture, of_mixture in zip(MIXTURES, settings.neighbours, strict=True):
        for phi, neighbours in zip(settings.autocorrelations, of_mixture, strict=True):
            model = noise.model(mixture, neighbours)
            correlated = np.outer(model.correlated, model.correlated) * of_means(neighbours, phi, place)
            dense.append(correlated + np.diag(model.independent**2))
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
    sums, log_det = _without_drift(*products(columns, noise, settings.noise_rows(noise), None), drift)
    variance = noise.proportional**2 + noise.floor**2 + noise.rounding**2
    dense = np.diag(variance) + drift**2 * np.outer(time, time)
    assert sums[0] == pytest.approx(columns[:, :2].T @ np.linalg.solve(dense, columns[:, :2]), rel=1e-8)
    assert log_det[0, 0] == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-8)


def test_flicker_is_the_mean_of_equal_parts_of_all_memories():
    """Covariances of its parts written out and added up, with a gap."""
    place = np.delete(np.arange(40), (11, 12))
    noise = replace(noise_of(38), spacing=np.diff(place).astype(float))
    found = flicker_covariance(noise, 60.0) * np.outer(noise.proportional, noise.proportional)
    memories_s = [3.0 * 2.0**octave for octave in range(12)]  # the next one is beyond four times 39 minutes
    second = np.arange(0.0, 60.0, 0.25)
    parts, changes = np.zeros((38, 38)), 0.0
    for memory_s in memories_s:
        own = float(np.exp(-np.abs(np.subtract.outer(second, second)) / memory_s).mean())
        (phi,), (neighbours,) = correlations_of_blocks(np.array([memory_s]), 60.0)
        parts += own * of_means(neighbours, phi, place)
        changes += own * (1 - neighbours)
    expected = np.outer(noise.proportional, noise.proportional) * parts / changes
    expected += np.diag(noise.floor**2 + noise.rounding**2)
    assert found == pytest.approx(expected, rel=0.02)


def test_noise_with_a_memory_is_larger_than_its_changes_show():
    """Half the mean square of the changes between neighbours is σ² (1 − ρ1)."""
    noise = noise_of(30)
    of_memory = noise.model(Mixture(0.0, True), 0.9)
    assert of_memory.correlated**2 * (1 - 0.9) == pytest.approx(noise.proportional**2 + noise.floor**2)

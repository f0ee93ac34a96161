"""The likelihood of rates between a few nodes, beside that of the rates themselves."""

import numpy as np
import pytest

from app.compute.signal.blocks import Blocks, block_means
from app.compute.signal.exponential_fit import _nearby_rates
from app.compute.signal.noise_settings import noise_of_blocks, noise_settings
from app.compute.signal.rate_table import (
    BackgroundBounds,
    log_probability,
    nodes_needed,
    rate_sums,
    sums_of_curves,
)

FREE = BackgroundBounds(0.0, 12.0)
GIVEN = BackgroundBounds(0.0, 12.0, 4.0, 1.0, drift_per_h=0.3)


def simulated(rate: float, seed: int) -> tuple[Blocks, np.ndarray]:
    """An hour of readings with a noise that lasts for half a minute, and the curve behind the means."""
    time_h = np.arange(3600) / 3600
    lasting = np.repeat(np.random.default_rng(seed).standard_normal(120), 30)
    levels = (5 + 400 * np.exp(-rate * time_h)) * (1 + 0.02 * lasting)
    blocks = block_means(time_h, levels, 1 / 3600, 0.1)
    return blocks, 5 + 400 * np.exp(-rate * blocks.time_h)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(
    ("rate", "bounds", "nodes"), [(0.8, FREE, {6}), (2.0, GIVEN, {6, 7}), (4.0, GIVEN, {7, 8}), (2.0, FREE, {8})]
)
def test_nodes_give_the_probability_of_every_rate_in_which_a_fit_looks(rate, bounds, nodes, seed):
    """Where it is above e⁻¹¹ of its maximum, for every kind of noise; with and without a background that drifts."""
    blocks, curve = simulated(rate, seed)
    noise, settings = noise_of_blocks(blocks, curve), noise_settings(blocks)
    time, rows = blocks.time_h - blocks.time_h[0], settings.noise_rows(noise)
    autocorrelation = float(settings.autocorrelations[3])
    rates = _nearby_rates(time, blocks.level, rows.model(3), bounds, rate, autocorrelation)
    between = rate_sums(rates, time, blocks.level, noise, bounds, rows, settings.block_s)
    assert between.rates.size in nodes

    every = sums_of_curves(rates, False, time, blocks.level, noise, bounds, rows, settings.block_s)
    direct = log_probability(rates, every, bounds)
    found = log_probability(rates, between, bounds)
    counts = direct > direct.max(axis=1, keepdims=True) - 11
    assert counts.sum() > 5 * len(direct)
    assert np.abs(found - direct)[counts].max() < 1e-5


def test_wide_ranges_have_no_nodes():
    assert nodes_needed(np.linspace(0.0, 1.3, 29), 1.0) is None
    assert nodes_needed(np.linspace(0.0, 0.5, 5), 1.0) is None
    assert nodes_needed(np.full(29, 2.0), 1.0) is None

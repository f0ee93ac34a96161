"""Local level model of a room's natural decay: a random walk in time, with a deviation on each day.

Many days are computed at once, one a row; a row's result does not depend on the other rows, to the last digit.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.repeatability import Repeatability, UncertainVariance

Floats = NDArray[np.float64]

DAYS_OF_DRIFT = 30.0
# Root mean square of the drift assumed for thirty days, relative to the level. Common practice, no source.
ASSUMED_DRIFT = 0.25
_DRIFT_DEGREES = 4.0  # heavier tails than a normal distribution's, so that a room with a trend is believed
# Rooms differ: however well the spread in other rooms is known, a room's own runs can update it.
_MOST_DEGREES = 30.0

# Relative spreads between days and drifts in thirty days at which the likelihood is evaluated, as pairs, and the width
# of each pair's cell (the spreads are evenly spaced in their logarithm).
_STEPS = np.array([0.0, *np.geomspace(0.01, 1.2, 13)])
_EDGES = np.concatenate([[0.0], (_STEPS[1:] + _STEPS[:-1]) / 2, [_STEPS[-1]]])
_SPREADS, _DRIFTS = (side.ravel() for side in np.meshgrid(np.geomspace(0.01, 1.5, 33), _STEPS, indexing="ij"))
_CELLS = np.tile(np.diff(_EDGES), 33)
_NEGLIGIBLE = 1e-5  # of the largest probability


@dataclass(frozen=True, slots=True, eq=False)
class RunsOfRooms:
    """Empty-room runs for each day asked for: one row a day, one column a run. [1/h]

    days : ascending; variances : of the runs' own errors, above zero
    """

    days: Floats
    values: Floats
    variances: Floats

    def backwards(self) -> "RunsOfRooms":
        """The same runs in the order of a clock that runs backwards."""
        return RunsOfRooms(-self.days[:, ::-1].copy(), self.values[:, ::-1].copy(), self.variances[:, ::-1].copy())


@dataclass(frozen=True, slots=True, eq=False)
class LevelsOnDays:
    """Level of the room on each day (rows), for each spread and drift considered (columns). [1/h]

    spreads, drifts : of the daily deviations, and of the level in thirty days
    likely : probability of each pair, summing to one
    means, deviations : of the level, given the pair
    weights : share of each run in the mean (columns: the runs)
    """

    spreads: Floats
    drifts: Floats
    likely: Floats
    means: Floats
    deviations: Floats
    weights: Floats


def levels_on_days(at: Floats, runs: RunsOfRooms, between_runs: Sequence[Repeatability]) -> LevelsOnDays:
    r"""Best linear unbiased estimate of the level on each day, with its standard error, for each spread and drift.

    .. math:: k_i = m(t_i) + e_i + \epsilon_i, \qquad e_i \sim N(0, \tau^2), \qquad
              m(t) - m(t') \sim N(0,\ \omega^2 |t-t'|)

    The filter of the local level model with an unknown first level [1]_, forwards through the runs up to the day and
    backwards through those after it; both estimates weighted by their precision. Each pair of τ and ω has the
    likelihood of the filter, times the scaled inverse chi-square distribution of `between_runs` for τ² and Student's t
    on four degrees of freedom for ω.

    References
    ----------
    .. [1] A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989 (local level model);
       from memory. Likelihood, smoothed level and its variance are checked against statsmodels.
    """
    level = np.abs(runs.values.mean(axis=1))
    level = np.where(level > 0, level, np.sqrt(runs.variances.mean(axis=1)))
    # the level is seen through the spread: the mean square of level over seen level, to second order
    known = np.array([spread.relative_sd for spread in between_runs])
    level = level * np.sqrt(1.0 + 3.0 * known**2 / runs.values.shape[1])
    spreads, drifts = level[:, None] * _SPREADS, level[:, None] * _DRIFTS
    before = (runs.days <= at[:, None]).sum(axis=1) - 1
    forward = _filtered(at, runs, before, spreads, drifts)
    backward = _filtered(-at, runs.backwards(), runs.days.shape[1] - 2 - before, spreads, drifts)
    log_density = forward.log_likelihood + np.stack([_log_assumed(spread) for spread in between_runs])
    density = np.exp(log_density - log_density.max(axis=1)[:, None]) * _CELLS
    density = np.where(density > _NEGLIGIBLE * density.max(axis=1)[:, None], density, 0.0)
    likely = density / density.sum(axis=1)[:, None]
    of_past, of_future = 1.0 / forward.variance, 1.0 / backward.variance
    precision = of_past + of_future
    weights = forward.weights(likely * of_past / precision)
    weights += backward.weights(likely * of_future / precision)[:, ::-1]
    return LevelsOnDays(
        spreads=spreads,
        drifts=drifts,
        likely=likely,
        means=(forward.mean * of_past + backward.mean * of_future) / precision,
        deviations=np.sqrt(1.0 / precision),
        weights=weights,
    )


def restricted_log_likelihood(runs: RunsOfRooms, spreads: Floats, drifts: Floats) -> Floats:
    """Restricted log-likelihood without its constant, for each row of runs and its spreads and drifts."""
    nowhere = np.full(runs.days.shape[0], -1)
    return _filtered(runs.days[:, 0], runs, nowhere, spreads, drifts).log_likelihood


@dataclass(frozen=True, slots=True, eq=False)
class _Filtered:
    """Level on a day from the runs up to it: mean and variance (infinite without a run), and the gain of each run.

    stop : place of the last of these runs, -1 without one
    """

    log_likelihood: Floats
    mean: Floats
    variance: Floats
    gains: list[Floats]
    stop: NDArray[np.intp]

    def weights(self, carried: Floats) -> Floats:
        """Share of each run, summed over the pairs with the given weights."""
        found = np.zeros((self.stop.size, len(self.gains)))
        for place in range(len(self.gains) - 1, -1, -1):
            used = (place <= self.stop)[:, None]
            part = np.where(used, carried * self.gains[place], 0.0)
            found[:, place] = part.sum(axis=1)
            carried = carried - part
        return found


def _filtered(at: Floats, runs: RunsOfRooms, stop: NDArray[np.intp], spreads: Floats, drifts: Floats) -> _Filtered:
    of_spread, per_day = spreads**2, drifts**2 / DAYS_OF_DRIFT
    log_likelihood = np.zeros(spreads.shape)
    variance = mean = np.zeros(spreads.shape)
    kept_mean, kept_variance = np.zeros(spreads.shape), np.full(spreads.shape, np.inf)
    gains: list[Floats] = []
    for place in range(runs.days.shape[1]):
        own = runs.variances[:, place, None] + of_spread
        value = runs.values[:, place, None]
        if place == 0:
            gain, mean, variance = np.ones(spreads.shape), np.broadcast_to(value, spreads.shape), own
        else:
            variance = variance + per_day * (runs.days[:, place] - runs.days[:, place - 1])[:, None]
            total = variance + own
            gain, surprise = variance / total, value - mean
            log_likelihood -= 0.5 * (np.log(total) + surprise**2 / total)
            mean, variance = mean + gain * surprise, own * gain
        gains.append(gain)
        here = stop == place
        if here.any():
            kept_mean[here] = mean[here]
            kept_variance[here] = variance[here] + per_day[here] * (at - runs.days[:, place])[here, None]
    return _Filtered(log_likelihood, kept_mean, kept_variance, gains, stop)


def _log_assumed(between_runs: Repeatability) -> Floats:
    """Logarithm of the assumed density, over the logarithm of the spread and over the drift."""
    degrees = min(between_runs.degrees_of_freedom, _MOST_DEGREES)
    scale = UncertainVariance(between_runs.relative_sd**2, degrees).scale
    drift_scale = ASSUMED_DRIFT * np.sqrt((_DRIFT_DEGREES - 2) / _DRIFT_DEGREES)
    of_spread = -degrees * np.log(_SPREADS) - degrees * scale / (2 * _SPREADS**2)
    of_drift = -(_DRIFT_DEGREES + 1) / 2 * np.log1p((_DRIFTS / drift_scale) ** 2 / _DRIFT_DEGREES)
    found: Floats = of_spread + of_drift
    return found

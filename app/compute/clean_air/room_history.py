"""Local level model of a room's natural decay: a random walk in time, with a deviation on each day."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability, UncertainVariance, variance_of

Floats = NDArray[np.float64]

DAYS_OF_DRIFT = 30.0
# Root mean square of the drift assumed for thirty days, relative to the level. Common practice, no source.
ASSUMED_DRIFT = 0.25
_DRIFT_DEGREES = 4.0  # heavier tails than a normal distribution's, so that a room with a trend is believed
# Rooms differ: however well the spread in other rooms is known, a room's own runs can update it.
_MOST_DEGREES = 30.0

# Relative spreads between days and drifts in thirty days at which the likelihood is evaluated.
_SPREADS = np.geomspace(0.01, 1.5, 33)
_DRIFTS = np.array([0.0, *np.geomspace(0.01, 1.2, 13)])
_NEGLIGIBLE = 1e-5  # of the largest probability


@dataclass(frozen=True, slots=True)
class LevelOnDay:
    """Level of the room on one day for each spread and drift considered [1/h]; weights : share of each run."""

    means: Floats
    deviations: Floats
    weights: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class RoomHistory:
    """Spreads between days and drifts that the runs and the assumptions leave, with their probability.

    spreads, drifts : of the daily deviations, and of the level in thirty days [1/h]
    likely : probability of each pair, summing to one
    """

    run_ids: tuple[int, ...]
    spreads: Floats
    drifts: Floats
    likely: Floats
    _days: Floats
    _values: Floats
    _inverses: Floats

    @classmethod
    def of(
        cls, run_ids: Sequence[int], days: Sequence[float], rates: Sequence[Measured], between_runs: Repeatability
    ) -> "RoomHistory":
        r"""Probability of each spread and drift.

        .. math:: \ell(\tau, \omega) = -\tfrac12\left(\ln|\Sigma| + \ln|1^T\Sigma^{-1}1| + r^T\Sigma^{-1}r\right),
                  \qquad \Sigma_{ij} = (u_i^2+\tau^2)\,\delta_{ij} + \omega^2 \min(t_i, t_j)

        The restricted likelihood of the local level model with an unknown first level [1]_, times the scaled inverse
        chi-square distribution of `between_runs` for τ² and Student's t on four degrees of freedom for ω.

        days : ascending; rates : with uncertainties above zero [1/h]

        References
        ----------
        .. [1] A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989 (local level model);
           from memory. Likelihood, smoothed level and its variance are checked against statsmodels.
        """
        values = np.array([rate.value for rate in rates])
        variances = np.array([variance_of(rate.uncertainty, rate.degrees_of_freedom).mean for rate in rates])
        level = abs(float(values.mean())) or float(np.sqrt(variances.mean()))
        # the level is seen through the spread: the mean square of level over seen level, to second order
        level *= math.sqrt(1.0 + 3.0 * between_runs.relative_sd**2 / values.size)
        spreads, drifts = (side.ravel() for side in np.meshgrid(_SPREADS, _DRIFTS, indexing="ij"))
        log_likelihood, inverses = restricted_likelihood(
            np.array(days), values, variances, level * spreads, level * drifts
        )
        log_density = log_likelihood + _log_assumed(spreads, drifts, between_runs)
        density = np.exp(log_density - log_density.max()) * _cells()
        kept = density > _NEGLIGIBLE * density.max()
        likely = density[kept] / density[kept].sum()
        return cls(
            tuple(run_ids),
            level * spreads[kept],
            level * drifts[kept],
            likely,
            np.array(days),
            values,
            inverses[kept],
        )

    def on(self, day: float) -> LevelOnDay:
        r"""Best linear unbiased estimate of the level on a day, with its standard error, for each spread and drift.

        .. math:: \hat m = \lambda^T k, \qquad \lambda = \Sigma^{-1}\left(c + 1\,
                  \frac{1 - 1^T\Sigma^{-1}c}{1^T\Sigma^{-1}1}\right), \qquad c_i = \omega^2\min(t_i, t)
        """
        origin = min(float(self._days[0]), day)
        step = (self.drifts**2 / DAYS_OF_DRIFT)[:, None]
        c = step * np.minimum(self._days - origin, day - origin)
        if origin < self._days[0]:  # the walk begins on the day asked for: shift of a common level, which cancels
            c = np.zeros_like(c)
            ahead = step[:, 0] * (self._days[0] - origin)
        else:
            ahead = step[:, 0] * (day - origin)
        of_c = np.einsum("gij,gj->gi", self._inverses, c)
        of_one = self._inverses.sum(axis=2)
        total = of_one.sum(axis=1)
        rest = 1.0 - of_c.sum(axis=1)
        weights = of_c + of_one * (rest / total)[:, None]
        variance = ahead - np.einsum("gi,gi->g", c, of_c) + rest**2 / total
        return LevelOnDay(
            means=weights @ self._values,
            deviations=np.sqrt(variance),
            weights=tuple((self.likely @ weights).tolist()),
        )


def restricted_likelihood(
    days: Floats, values: Floats, variances: Floats, spreads: Floats, drifts: Floats
) -> tuple[Floats, Floats]:
    """Restricted log-likelihood, without its constant, and inverse covariance of the runs, for each spread and drift.

    days : ascending, the walk begins on the first; variances : of the runs' own errors; all in one unit
    """
    elapsed = days - days[0]
    walk = np.minimum(elapsed[:, None], elapsed[None, :])
    covariance = (drifts**2 / DAYS_OF_DRIFT)[:, None, None] * walk
    places = np.arange(days.size)
    covariance[:, places, places] += variances + (spreads**2)[:, None]
    inverses = np.linalg.inv(covariance)
    total = inverses.sum(axis=(1, 2))
    of_values = inverses @ values
    mean = of_values.sum(axis=1) / total
    squares = np.einsum("gi,i->g", of_values, values) - mean**2 * total
    return -0.5 * (np.linalg.slogdet(covariance)[1] + np.log(total) + squares), inverses


def _log_assumed(spreads: Floats, drifts: Floats, between_runs: Repeatability) -> Floats:
    """Logarithm of the assumed density, over the logarithm of the spread and over the drift."""
    degrees = min(between_runs.degrees_of_freedom, _MOST_DEGREES)
    scale = UncertainVariance(between_runs.relative_sd**2, degrees).scale
    drift_scale = ASSUMED_DRIFT * math.sqrt((_DRIFT_DEGREES - 2) / _DRIFT_DEGREES)
    of_spread = -degrees * np.log(spreads) - degrees * scale / (2 * spreads**2)
    of_drift = -(_DRIFT_DEGREES + 1) / 2 * np.log1p((drifts / drift_scale) ** 2 / _DRIFT_DEGREES)
    found: Floats = of_spread + of_drift
    return found


def _cells() -> Floats:
    """Width of each drift's cell (the spreads are evenly spaced in their logarithm), for each pair."""
    edges = np.concatenate([[0.0], (_DRIFTS[1:] + _DRIFTS[:-1]) / 2, [_DRIFTS[-1]]])
    return np.tile(np.diff(edges), _SPREADS.size)

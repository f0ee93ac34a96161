"""Repeatability: spread between repeated trials on this bench, assumed at first and updated by everything repeated."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.measured import Measured, coverage_factor_95
from app.compute.statistics.spread_sources import ASSUMED_DEGREES_OF_FREEDOM, ASSUMED_RELATIVE_SD

Floats = NDArray[np.float64]

# Above four, so that the variance of a spread is finite; five is the smallest whole number.
FEWEST_DEGREES_OF_FREEDOM = 5.0

# Steps of a stored figure: one more trial on a large bench then seldom changes it.
_STEP = math.log(1.02)
# Relative spreads considered, and the points of a grid that is narrowed to where their density counts: a large bench
# knows its spread to less than a percent of it.
_LEAST, _MOST = 5e-4, 1.5
_GRIDS = tuple(np.linspace(0.0, 1.0, points) for points in (33, 33, 49))
_NEGLIGIBLE = 1e-9  # of the largest density
_AT_ONCE = 4096  # rates times spreads in one pass: more no longer stay in the processor's cache


@dataclass(frozen=True, slots=True)
class Repeatability:
    r"""Relative spread between repeated trials, beyond the uncertainties of the fits.

    Its square is uncertain: a scaled inverse chi-square distribution with this mean and these degrees of freedom.

    .. math:: \tau_r^2 \sim \nu s^2/\chi^2_\nu, \qquad \text{relative\_sd}^2 = \frac{\nu}{\nu-2} s^2

    relative_sd : root mean square of the between-trial standard deviation over the mean, 0.05 for 5 %
    degrees_of_freedom : of the spread alone, above four
    groups, trials : number of repeated groups, and of their trials, that updated the assumption
    source : where the figure comes from, for readers
    """

    relative_sd: float
    degrees_of_freedom: float
    groups: int
    trials: int
    source: str

    def __post_init__(self) -> None:
        if not self.degrees_of_freedom > 4:
            raise ValueError(f"A spread has {self.degrees_of_freedom} degrees of freedom; it needs more than four.")

    @property
    def repeats(self) -> int:
        """Degrees of freedom that the bench's own repeats add to the assumption."""
        return self.trials - self.groups

    @property
    def mostly_assumed(self) -> bool:
        """The bench's own repeats weigh less than the assumption."""
        return self.repeats < ASSUMED_DEGREES_OF_FREEDOM

    def in_steps(self) -> "Repeatability":
        """The figure rounded to steps of 2 %: it depends on the trials alone, and seldom moves on a large bench."""
        return Repeatability(
            math.exp(round(math.log(self.relative_sd) / _STEP) * _STEP),
            max(FEWEST_DEGREES_OF_FREEDOM, math.exp(round(math.log(self.degrees_of_freedom) / _STEP / 2) * _STEP * 2)),
            self.groups,
            self.trials,
            self.source,
        )


ASSUMED_BETWEEN_TRIALS = Repeatability(
    ASSUMED_RELATIVE_SD, ASSUMED_DEGREES_OF_FREEDOM, 0, 0, "assumed 5 % between repeats (common practice, no source)"
)


@dataclass(frozen=True, slots=True)
class UncertainVariance:
    """A variance known as a scaled inverse chi-square distribution: its mean and its degrees of freedom, above four."""

    mean: float
    degrees_of_freedom: float

    @property
    def scale(self) -> float:
        """Of Student's t for a quantity with this variance."""
        if math.isinf(self.degrees_of_freedom):
            return self.mean
        return self.mean * (self.degrees_of_freedom - 2) / self.degrees_of_freedom


def variance_of(uncertainty: float, degrees_of_freedom: float) -> UncertainVariance:
    """The variance behind a standard uncertainty with its degrees of freedom; with fewer than five, the one on five
    that gives the same 95 % interval.

    >>> variance_of(0.1, 10.0).scale
    0.01...
    """
    degrees = max(degrees_of_freedom, FEWEST_DEGREES_OF_FREEDOM)
    scale = (uncertainty * coverage_factor_95(degrees_of_freedom) / coverage_factor_95(degrees)) ** 2
    return UncertainVariance(scale if math.isinf(degrees) else scale * degrees / (degrees - 2), degrees)


def total_variance(parts: Sequence[UncertainVariance]) -> UncertainVariance:
    r"""The sum of independent uncertain variances, as the distribution with the same mean and variance.

    .. math:: E = \sum E_i, \qquad \nu = 4 + \frac{2 E^2}{\sum 2 E_i^2/(\nu_i-4)}

    Welch and Satterthwaite match moments of the estimate for a given truth; this matches those of the truth for given
    data, so a part that is known poorly counts with its mean and not with its scale. Checked against the exact mixture
    of normal distributions in the tests.

    >>> total_variance([UncertainVariance(1.0, 10.0), UncertainVariance(1.0, 10.0)])
    UncertainVariance(mean=2.0, degrees_of_freedom=16.0)
    """
    mean = sum(part.mean for part in parts)
    spread = sum(2 * part.mean**2 / (part.degrees_of_freedom - 4) for part in parts)
    return UncertainVariance(mean, 4 + 2 * mean**2 / spread if spread > 0 else math.inf)


def with_spread(own: Measured, spread: Repeatability) -> Measured:
    """A quantity with the spread between trials added to its uncertainty."""
    of_spread = UncertainVariance((spread.relative_sd * own.value) ** 2, spread.degrees_of_freedom)
    total = total_variance([variance_of(own.uncertainty, own.degrees_of_freedom), of_spread])
    return Measured(own.value, math.sqrt(total.scale), total.degrees_of_freedom)


def pooled_repeatability(
    groups: Sequence[Sequence[Measured]], assumed: Repeatability = ASSUMED_BETWEEN_TRIALS, repeats: str = "repeats"
) -> Repeatability:
    r"""The assumed spread, updated by all groups with repeats.

    .. math:: p(\tau) \propto \tau^{-\nu_0} e^{-\nu_0 s_0^2/2\tau^2} \prod_g
              \frac{\prod_i (r_{gi}^2+\tau^2)^{-1/2}}{\left(\sum_i (r_{gi}^2+\tau^2)^{-1}\right)^{1/2}}
              e^{-\frac12\sum_i (y_{gi}-\bar y_g)^2/(r_{gi}^2+\tau^2)} \frac{d\tau}{\tau}, \qquad
              y_{gi} = \frac{k_{gi}}{\bar k_g},\ r_{gi} = \frac{u_{gi}}{\bar k_g}

    The restricted likelihood of the random-effects model [1]_ [2]_ with one mean for each group, times the assumed
    scaled inverse chi-square distribution. A trial with a poor fit tells little of the spread, and the scatter
    explained by the fits is not counted, because each trial adds its own.

    groups : for each setting, channel and room, the decay rates of its trials with uncertainties above zero [1/h];
        groups of one are passed over, and so are groups whose mean is not above zero
    Returns the scaled inverse chi-square distribution with the same mean and variance of τ². Without repeats it is the
        assumption itself. The order of groups and trials does not matter, to the last digit.

    References
    ----------
    .. [1] D. A. Harville, J. Am. Stat. Assoc. 72, 320-338, 1977 (restricted likelihood); from memory, checked against
       statsmodels. That one spread, proportional to the rate, holds for the whole bench is an assumption.
    .. [2] G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3(1), art. 3, 2004 (the prior for a variance); from memory.

    >>> spread = pooled_repeatability([[Measured(4.0, 0.02), Measured(4.1, 0.02)]] * 12)
    >>> round(spread.relative_sd, 3), round(spread.degrees_of_freedom), spread.groups, spread.mostly_assumed
    (0.027, 17, 12, False)
    """
    rates = [rate for group in groups for rate in group]
    return pooled_from_columns(
        np.array([rate.value for rate in rates]),
        np.array([rate.uncertainty for rate in rates]),
        np.repeat(np.arange(len(groups)), [len(group) for group in groups]),
        assumed,
        repeats,
    )


def pooled_from_columns(
    values: Floats,
    uncertainties: Floats,
    group_of: NDArray[np.intp],
    assumed: Repeatability = ASSUMED_BETWEEN_TRIALS,
    repeats: str = "repeats",
) -> Repeatability:
    """`pooled_repeatability` from columns; group_of : number of the group of each rate, in any order."""
    repeated = RepeatedRates.of(values, uncertainties, group_of)
    groups, trials = repeated.starts.size, repeated.values.size
    if not groups:
        return assumed
    mean, degrees = _moments(repeated, assumed)
    updated = f"{trials} trials in {groups} {'group' if groups == 1 else 'groups'}"
    known = Repeatability(math.sqrt(mean), degrees, groups, trials, "")
    source = (
        f"{assumed.source}, updated by {updated}" if known.mostly_assumed else f"{repeats} on this bench: {updated}"
    )
    return Repeatability(known.relative_sd, degrees, groups, trials, source)


@dataclass(frozen=True, slots=True, eq=False)
class RepeatedRates:
    """Rates over the mean of their group, with the variances of their own errors, group after group, in ascending order
    within each; starts : place of the first rate of each group."""

    values: Floats
    variances: Floats
    starts: NDArray[np.intp]

    @classmethod
    def of(cls, values: Floats, uncertainties: Floats, group_of: NDArray[np.intp]) -> "RepeatedRates":
        """Groups of one are left out, and so are groups whose mean is not above zero."""
        order = np.lexsort((uncertainties, values, group_of))
        values, uncertainties, group_of = values[order], uncertainties[order], group_of[order]
        starts = np.flatnonzero(np.diff(group_of, prepend=-1))
        if not starts.size:
            return cls(values, uncertainties, starts)
        sizes = np.diff(starts, append=values.size)
        means = np.add.reduceat(values, starts) / sizes
        kept = (sizes > 1) & (means > 0)
        of_kept, mean_of = np.repeat(kept, sizes), np.repeat(means[kept], sizes[kept])
        starts = np.cumsum(sizes[kept]) - sizes[kept]
        return cls(values[of_kept] / mean_of, uncertainties[of_kept] ** 2 / mean_of**2, starts)


def restricted_log_likelihood(rates: RepeatedRates, spreads: Floats) -> Floats:
    """Restricted log-likelihood of each spread. The order of the groups does not matter to the last digit."""
    group_of = np.repeat(np.arange(rates.starts.size), np.diff(rates.starts, append=rates.values.size))
    found = np.empty(spreads.size)
    some = max(_AT_ONCE // max(rates.values.size, 1), 1)
    for first in range(0, spreads.size, some):
        place = slice(first, first + some)
        variance = rates.variances + (spreads[place] ** 2)[:, None]
        w = 1.0 / variance
        weight = np.add.reduceat(w, rates.starts, axis=1)
        mean = np.add.reduceat(w * rates.values, rates.starts, axis=1) / weight
        of_rate = np.log(variance) + w * (rates.values - mean[:, group_of]) ** 2
        of_group = np.add.reduceat(of_rate, rates.starts, axis=1) + np.log(weight)
        found[place] = -0.5 * np.sort(of_group, axis=1).sum(axis=1)
    return found


def _moments(rates: RepeatedRates, assumed: Repeatability) -> tuple[float, float]:
    """Mean of the squared spread, and the degrees of freedom that give its variance, after the update."""
    degrees = assumed.degrees_of_freedom
    scale = UncertainVariance(assumed.relative_sd**2, degrees).scale
    low, high = _LEAST, _MOST
    for grid in _GRIDS:
        spreads = low * (high / low) ** grid
        log_density = restricted_log_likelihood(rates, spreads)
        log_density -= degrees * np.log(spreads) + degrees * scale / (2 * spreads**2)
        weights = np.exp(log_density - log_density.max())
        counting = np.flatnonzero(weights > _NEGLIGIBLE)
        low, high = float(spreads[max(counting[0] - 1, 0)]), float(spreads[min(counting[-1] + 1, grid.size - 1)])
    weights /= weights.sum()
    squares = spreads**2
    mean = float(weights @ squares)
    variance = float(weights @ (squares - mean) ** 2)
    return mean, max(FEWEST_DEGREES_OF_FREEDOM, 4 + 2 * mean**2 / variance)

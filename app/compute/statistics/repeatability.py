"""Repeatability: spread between repeated trials on this bench, pooled over everything repeated."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.measured import Measured

Floats = NDArray[np.float64]

# Below this a pooled spread is too uncertain to use: Student's t for 2 degrees is 4.3.
FEWEST_DEGREES_OF_FREEDOM = 3.0

_MOST_STEPS = 200


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Relative standard deviation between repeated trials, beyond the uncertainties of the fits.

    relative_sd : between-trial standard deviation over the mean, 0.05 for 5 %
    degrees_of_freedom : of the pooled scatter, which still includes the errors of the fits
    groups, trials : number of repeated groups, and of their trials
    source : where the figure comes from, for readers
    relative_fit_sd : typical relative error of the fits from which the spread was estimated
    """

    relative_sd: float
    degrees_of_freedom: float
    groups: int
    trials: int
    source: str
    relative_fit_sd: float = 0.0

    @property
    def degrees_of_freedom_alone(self) -> float:
        r"""Of the spread alone: subtracting the fits' part leaves a less certain variance.

        .. math:: \nu_\tau = \nu\left(\frac{\tau^2}{\tau^2+u_f^2}\right)^2, \qquad \text{at least 1}
        """
        scatter = self.relative_sd**2 + self.relative_fit_sd**2
        return max(1.0, self.degrees_of_freedom * (self.relative_sd**2 / scatter) ** 2) if scatter > 0 else math.inf

    def degrees_of_freedom_with_fit(self, relative_fit_variance: float) -> float:
        r"""Of the variance of a trial whose fit has a given relative variance: the spread's, and the known part of the
        fit, at most those of the pooled scatter.

        .. math:: \nu_\tau\left(\frac{\tau^2+u^2}{\tau^2}\right)^2
        """
        if self.relative_sd == 0:
            return self.degrees_of_freedom
        grown = self.degrees_of_freedom_alone * (1.0 + relative_fit_variance / self.relative_sd**2) ** 2
        return min(self.degrees_of_freedom, grown)

    @property
    def is_usable(self) -> bool:
        """Whether it has enough degrees of freedom to be used for settings that were not repeated."""
        return self.degrees_of_freedom >= FEWEST_DEGREES_OF_FREEDOM


def pooled_repeatability(groups: Sequence[Sequence[Measured]]) -> Repeatability | None:
    r"""Relative between-trial standard deviation, pooled over all groups with repeats. [1]_

    .. math:: \sum_g\sum_i \frac{(y_{gi}-\bar y_g)^2}{r_{gi}^2+\tau^2} = \sum_g (n_g-1), \qquad
              y_{gi} = \frac{k_{gi}}{\bar k_g},\ r_{gi} = \frac{u_{gi}}{\bar k_g}

    The spread that brings the weighted scatter to its expectation, as in `random_effects`, with one mean for each
    group. A trial with a poor fit has little weight; the scatter explained by the fits is
    not counted, because each trial adds its own.

    groups : for each setting, channel and room, the decay rates of its trials with uncertainties above zero [1/h];
        groups of one are passed over, and so are groups whose mean is not above zero
    Returns None without repeats.

    References
    ----------
    .. [1] R. C. Paule and J. Mandel, J. Res. Natl. Bur. Stand. 87, 377-385, 1982, for one group; from memory. That
       one spread, proportional to the rate, holds for the whole bench is an assumption.

    >>> spread = pooled_repeatability([[Measured(4.0, 0.1), Measured(4.4, 0.1)], [Measured(1.0, 0.02)]])
    >>> round(spread.relative_sd, 4), spread.degrees_of_freedom, spread.groups
    (0.063, 1.0, 1)
    """
    repeated = [_relative(group) for group in groups if len(group) > 1 and sum(rate.value for rate in group) > 0]
    if not repeated:
        return None
    degrees = sum(values.size - 1 for values, _ in repeated)
    between = _pooled_between_variance(repeated, degrees)
    counted_trials = sum(values.size for values, _ in repeated)
    return Repeatability(
        relative_sd=math.sqrt(between),
        degrees_of_freedom=float(degrees),
        groups=len(repeated),
        trials=counted_trials,
        source=f"repeats on this bench: {counted_trials} trials in {len(repeated)} groups",
        relative_fit_sd=math.sqrt(_typical_fit_variance(repeated, degrees, between)),
    )


def _relative(group: Sequence[Measured]) -> tuple[Floats, Floats]:
    """Values and squared uncertainties of a group over its mean."""
    values = np.array([rate.value for rate in group])
    return values / values.mean(), np.array([(rate.uncertainty / values.mean()) ** 2 for rate in group])


def _pooled_between_variance(repeated: Sequence[tuple[Floats, Floats]], degrees: int) -> float:
    """Solves the equation by Newton steps from zero, which converge from below."""
    between = 0.0
    for _ in range(_MOST_STEPS):
        excess, slope = -float(degrees), 0.0
        for values, variances in repeated:
            w = 1.0 / (variances + between)
            squares = (values - w @ values / w.sum()) ** 2
            excess += float(w @ squares)
            slope += float(w**2 @ squares)
        if excess <= 1e-12 * degrees:
            break
        between += excess / slope
    return between


def _typical_fit_variance(repeated: Sequence[tuple[Floats, Floats]], degrees: int, between: float) -> float:
    """The equivalent common fit variance: with it the spread would be known as well as with the trials' own.

    Each degree of freedom counts with the squared share of the spread in its variance. Without a spread
    it is the harmonic mean of the fit variances.
    """
    if between == 0:
        variances = np.concatenate([variances for _, variances in repeated])
        return float(variances.size / np.sum(1.0 / variances))
    known = sum((v.size - 1) * float(np.mean((between / (v + between)) ** 2)) for _, v in repeated)
    return between * (math.sqrt(degrees / known) - 1.0)

"""Limits of a control chart from its reference runs, whose uncertainties differ.

Centre and spread of individual values by moving ranges, after NIST/SEMATECH, e-Handbook of Statistical Methods,
6.3.2.2 (limits: mean ± 3 times the mean moving range over 1.128; from memory).

Loads neither numpy nor scipy: the first ranking of a server needs the chart of its room, and loading them took a third
of its time.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.compute.control_charts.student import point_of_student

# Mean range of two values of a normal distribution over its standard deviation, known as d2: 1.128.
MEAN_RANGE_OF_TWO = 2.0 / math.sqrt(math.pi)
SHEWHART_SIGMAS = 3.0
EWMA_WEIGHT = 0.2
EWMA_SIGMAS = 2.962
# Relative variance of a spread from n - 1 moving ranges, times n - 1: neighbouring ranges share a value, and their
# correlation is 0.224 (bivariate normal distribution with the correlation -1/2). Derived here; checked by simulation.
_VARIANCE_OF_RANGES = (math.pi / 2 - 1) * (1 + 2 * 0.22391)
_BISECTIONS = 80


@dataclass(frozen=True, slots=True)
class ChartRun:
    """One run on a control chart.

    value, uncertainty : in the unit of the chart; the uncertainty is the run's own, without the spread between runs
    day : on any calendar that counts days [d]
    """

    run_id: int
    day: float
    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Limits:
    """Centre and spread of a reference period, with the factors of the limits.

    centre, centre_uncertainty : weighted mean of the reference runs and its standard uncertainty
    spread : standard deviation between runs, beyond their own uncertainties
    shewhart_sigmas, ewma_sigmas : half-widths of the limits in standard deviations. They exceed 3 and 2.962, because
        a spread from a few runs is uncertain: the points of Student's t with the same probability.
    """

    run_ids: tuple[int, ...]
    centre: float
    centre_uncertainty: float
    spread: float
    degrees_of_freedom: float
    shewhart_sigmas: float
    ewma_sigmas: float

    def standard_deviation(self, uncertainty: float) -> float:
        """Of a run in control with this uncertainty of its own, in the unit of the chart."""
        return math.hypot(self.spread, uncertainty)

    def shewhart_half_width(self, uncertainty: float) -> float:
        """Half-width of the limits of one run; the centre is uncertain too."""
        return self.shewhart_sigmas * math.hypot(self.standard_deviation(uncertainty), self.centre_uncertainty)

    def ewma_half_width(self, number: int, centre_share: float) -> float:
        r"""Half-width of the limits of the exponentially weighted moving average after so many runs, in standard
        deviations of a run.

        .. math:: L\sqrt{\frac{\lambda}{2-\lambda}\left(1-(1-\lambda)^{2i}\right) + \left(1-(1-\lambda)^i\right)^2 s^2}

        The first term is the variance of the average of i independent values (its limit for many runs, λ/(2 - λ), is in
        the e-Handbook, 6.3.2.4, read in a copy; the factor in brackets is the sum of a geometric series). The second
        is the error of the centre, which all runs share.

        centre_share : uncertainty s of the centre, over the standard deviation of a run

        >>> known = Limits((), 0.5, 0.0, 0.1, math.inf, 3.0, 2.962)
        >>> round(known.ewma_half_width(1, 0.0), 4), round(known.ewma_half_width(1000, 0.0), 4)
        (0.5924, 0.9873)
        """
        kept = (1 - EWMA_WEIGHT) ** number
        own = EWMA_WEIGHT / (2 - EWMA_WEIGHT) * (1 - kept**2)
        return self.ewma_sigmas * math.sqrt(own + ((1 - kept) * centre_share) ** 2)


def limits_of(runs: Sequence[ChartRun]) -> Limits:
    r"""Limits from reference runs in order of time.

    .. math:: \frac{1}{n-1}\sum_{i=2}^{n} \frac{|x_i - x_{i-1}|}{\sqrt{(s_i^2 + s_{i-1}^2)/2}} = \frac{2}{\sqrt\pi},
              \qquad s_i^2 = u_i^2 + \tau^2

    The spread τ makes the mean standardised moving range equal that of a normal distribution; it is zero where the
    runs' own uncertainties explain the ranges. With equal uncertainties s is the mean moving range over 1.128.

    runs : at least two, with uncertainties above zero
    Raises ValueError otherwise.

    >>> values = [10.0, 12.0, 11.0, 13.0, 12.0]
    >>> limits = limits_of([ChartRun(n, n, value, 1e-9) for n, value in enumerate(values)])
    >>> round(limits.centre, 3), round(limits.spread * MEAN_RANGE_OF_TWO, 3)
    (11.6, 1.5)
    """
    if len(runs) < 2:
        raise ValueError(f"Limits need at least two reference runs; there are {len(runs)}.")
    for run in runs:
        if not run.uncertainty > 0:
            raise ValueError(f"Run {run.run_id} has the uncertainty {run.uncertainty}; it must be above zero.")
    own = [run.uncertainty**2 for run in runs]
    ranges = [abs(later.value - run.value) for run, later in pairwise(runs)]
    spread = _spread(ranges, [(one + later) / 2 for one, later in pairwise(own)])
    weights = [1 / (variance + spread**2) for variance in own]
    weight = math.fsum(weights)
    degrees = (len(runs) - 1) / (2 * _VARIANCE_OF_RANGES)
    return Limits(
        run_ids=tuple(run.run_id for run in runs),
        centre=math.fsum([w * run.value for w, run in zip(weights, runs, strict=True)]) / weight,
        centre_uncertainty=1 / math.sqrt(weight),
        spread=spread,
        degrees_of_freedom=degrees,
        shewhart_sigmas=point_of_student(SHEWHART_SIGMAS, degrees),
        ewma_sigmas=point_of_student(EWMA_SIGMAS, degrees),
    )


def _spread(ranges: Sequence[float], own: Sequence[float]) -> float:
    """Spread between runs by bisection; `own` is the mean variance of the two runs of each range."""

    def excess(spread: float) -> float:
        square = spread**2
        ratios = [found / math.sqrt(variance + square) for found, variance in zip(ranges, own, strict=True)]
        return math.fsum(ratios) / len(ratios) - MEAN_RANGE_OF_TWO

    if excess(0.0) <= 0:
        return 0.0
    low, high = 0.0, max(ranges)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        if middle in (low, high):  # no number lies between them
            break
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    return (low + high) / 2

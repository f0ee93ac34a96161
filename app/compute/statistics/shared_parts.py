"""Parts of the uncertainty of a decay rate that repeating a trial does not average out."""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.measured import Measured

Floats = NDArray[np.float64]


class SharedParts(NamedTuple):
    """Standard uncertainties of one trial's decay rate. [1/h]

    Repeats of a setting share `humidity` (the growth of the particles) and `window` (the mixing of unit and room);
    repeats with one logger share `warm_up` (its gain after it was switched on) and `linearity` (its exponent). The
    drift of the background and the noise differ from run to run and are not here.
    """

    humidity: float = 0.0
    window: float = 0.0
    warm_up: float = 0.0
    linearity: float = 0.0

    @property
    def total(self) -> float:
        return math.hypot(*self)


@dataclass(frozen=True, slots=True, eq=False)
class SharedColumns:
    """`SharedParts` of many trials, as columns."""

    humidity: Floats
    window: Floats
    warm_up: Floats
    linearity: Floats

    @property
    def total(self) -> Floats:
        squares = (part**2 for part in (self.humidity, self.window, self.warm_up, self.linearity))
        return np.sqrt(sum(squares, start=np.zeros(self.humidity.shape)))

    def rows(self) -> list[SharedParts]:
        columns = (self.humidity, self.window, self.warm_up, self.linearity)
        return list(map(SharedParts._make, zip(*(column.tolist() for column in columns), strict=True)))


def shared_uncertainty(weights: Sequence[float], parts: Sequence[SharedParts], loggers: Sequence[Hashable]) -> float:
    r"""Standard uncertainty that the shared parts leave in a weighted mean of repeats. [1]_

    .. math:: u^2 = \sum_p \sum_g \left(\sum_{i \in g} w_i u_{p,i}\right)^2

    weights : of the trials, summing to one; loggers : of the trials, equal where it is the same one
    p runs over the parts, and g over the sets of trials that share the part: all of them for humidity and window, those
    of one logger for warm-up and linearity. Within a set the errors have one sign, so they add up (correlation one).

    References
    ----------
    .. [1] JCGM 100:2008, 5.2.2, note 1: fully correlated inputs add linearly; from memory. Checked by Monte Carlo
       (JCGM 101:2008).

    >>> both = [SharedParts(warm_up=0.03), SharedParts(warm_up=0.03)]
    >>> round(shared_uncertainty([0.5, 0.5], both, ["A", "A"]), 4), round(shared_uncertainty([0.5, 0.5], both, "AB"), 4)
    (0.03, 0.0212)
    """
    humidity = window = 0.0
    of_logger: dict[Hashable, tuple[float, float]] = {}
    for weight, own, logger in zip(weights, parts, loggers, strict=True):
        humidity += weight * own.humidity
        window += weight * own.window
        warm_up, linearity = of_logger.get(logger, (0.0, 0.0))
        of_logger[logger] = warm_up + weight * own.warm_up, linearity + weight * own.linearity
    return math.hypot(humidity, window, *(value for both in of_logger.values() for value in both))


_LEAST_LEFT = 1e-3  # of the uncertainty: no fit is exact


def without_shared_part(total: Measured, shared: float) -> Measured:
    """Removes a component with infinite degrees of freedom from an uncertainty; a thousandth of it is always left."""
    if shared == 0:
        return total
    left = math.sqrt(max(total.uncertainty**2 - shared**2, (_LEAST_LEFT * total.uncertainty) ** 2))
    return Measured(total.value, left, max(total.degrees_of_freedom * (left / total.uncertainty) ** 4, 1.0))

"""Simultaneous pairwise tests: which of many units differ significantly.

With a probability of 95 % or more no pair is put in the wrong order, even if all units are nearly equal.
Up to `MOST_DRAWN` units: step-down max-t over draws; more: Holm's step-down. Joint intervals of ranks from all pairwise
tests: Mogstad, Romano, Shaikh and Wilhelm, "Inference for ranks" (2024), and Al Mohamad, Goeman and van Zwet,
"Simultaneous confidence intervals for ranks" (2022); step-down: Holm (1979), Romano and Wolf (2005). All cited from
memory; tests/studies/joint_ranks.py measures the coverage of this implementation.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

Floats = NDArray[np.float64]

MOST_DRAWN = 40
LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Differences:
    """Differences of all pairs of units, each an n by n matrix: estimate, standard error, degrees of freedom."""

    estimate: Floats
    standard_error: Floats
    degrees: Floats

    def in_order(self, order: NDArray[np.intp]) -> "Differences":
        place = np.ix_(order, order)
        return Differences(self.estimate[place], self.standard_error[place], self.degrees[place])


def told_apart_jointly(differences: Differences, draw_deviations: Callable[[], Floats]) -> NDArray[np.bool_]:
    """An n by n matrix: whether a pair differs significantly. For two units this is the t interval of their difference,
    and a pair whose own 95 % interval includes zero is never significant.

    differences : of the first less the second, units in order, best first
    draw_deviations : rows of joint draws of all units, minus their estimates; not called for large benches
    """
    number = differences.estimate.shape[0]
    first, second = np.triu_indices(number, 1)
    difference = differences.estimate[first, second]
    error, degrees = differences.standard_error[first, second], differences.degrees[first, second]
    exact = error == 0.0
    t = np.divide(difference, error, out=np.where(difference > 0, np.inf, 0.0), where=~exact)
    tail = stdtr(degrees, -t)
    apart = tail <= LEVEL / 2
    if 2 < number <= MOST_DRAWN:
        deviations = draw_deviations()
        reversed_by = np.maximum(deviations[:, second] - deviations[:, first], 0.0)
        drawn_t = np.divide(reversed_by, error, out=np.zeros_like(reversed_by), where=~exact)
        apart &= _max_t(_as_normal(t, degrees), _as_normal(drawn_t, degrees))
    elif number > MOST_DRAWN:
        apart &= _holm(tail)
    matrix = np.zeros((number, number), dtype=np.bool_)
    matrix[first, second] = matrix[second, first] = apart
    return matrix


def _as_normal(t: Floats, degrees: Floats) -> Floats:
    """The normal deviate with about the probability of a t value (Wallace's formula, from memory).

    It need not be exact: it makes pairs with few and with many degrees of freedom comparable.
    """
    if np.isinf(degrees).all():
        return t
    finite = np.where(np.isfinite(degrees), degrees, 1.0)
    of_few: Floats = np.sqrt(finite * np.log1p(t**2 / finite)) * ((8.0 * finite + 1.0) / (8.0 * finite + 3.0))
    return np.where(np.isfinite(degrees), of_few, t)


def _max_t(seen: Floats, drawn: Floats) -> NDArray[np.bool_]:
    """A pair is significant if it exceeds the 95 % point of the largest reversal in the draws; the others are then
    tested again.
    """
    apart = np.zeros(seen.size, dtype=np.bool_)
    while not apart.all():
        critical = float(np.quantile(drawn[:, ~apart].max(axis=1), 1.0 - LEVEL))
        more = ~apart & (seen > critical)
        if not more.any():
            break
        apart |= more
    return apart


def _holm(tails: Floats) -> NDArray[np.bool_]:
    order = np.argsort(tails, kind="stable")
    failed = np.flatnonzero(tails[order] > LEVEL / np.arange(tails.size, 0, -1))
    apart = np.zeros(tails.size, dtype=np.bool_)
    apart[order[: failed[0] if failed.size else tails.size]] = True
    return apart

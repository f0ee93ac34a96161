"""Which trial would do most for the order of the ranking."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from app.compute.comparison.setting_in_room import SettingInRoom, natural_correlation
from app.compute.signal.noise import Floats

NEIGHBOURS = 8  # above and below in the order; pairs further apart are seldom in doubt
_LEAST_UNCERTAINTY = 1e-9  # [1/h]
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
_SHARES: Floats = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class RankedSetting:
    """A setting of the ranking, with the number of usable trials behind its total decay.

    shared_per_h : part of its uncertainty that all its trials share
    """

    key: int
    in_room: SettingInRoom
    trials: int
    shared_per_h: float = 0.0

    @property
    def own_variance(self) -> float:
        """Part of the variance that further trials reduce [1/h²]."""
        whole = max(self.in_room.total_decay.uncertainty, _LEAST_UNCERTAINTY)
        return max(whole**2 - self.shared_per_h**2, _LEAST_UNCERTAINTY**2)


@dataclass(frozen=True, slots=True)
class OrderStep:
    """One further trial, and the expected number of pairs in the wrong order after it."""

    key: int
    wrong_pairs: float


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """Trials that make the order surest, one after the other.

    wrong_now : expected number of neighbouring pairs in the wrong order so far
    gains : by setting, what one trial of it now is expected to take from that number
    empty_run_gain : what one empty-room run on the day of the plan is expected to take from it
    """

    wrong_now: float
    gains: tuple[tuple[int, float], ...]
    empty_run_gain: float
    steps: tuple[OrderStep, ...]


def wrong_order(difference: Floats, uncertainty: Floats) -> Floats:
    r"""Probability that two true rates are in the other order than their estimates: Φ(-|d|/u).

    >>> wrong_order(np.array([0.0, 1.96]), np.array([1.0, 1.0])).round(3)
    array([0.5  , 0.025])
    """
    found: Floats = ndtr(-np.abs(difference) / uncertainty)
    return found


def wrong_order_after(difference: Floats, uncertainty: Floats, narrower: Floats) -> Floats:
    r"""What that probability is expected to be when the uncertainty has become narrower.

    .. math:: E\,\Phi(-|d'|/u'), \qquad d' \sim N(d,\ u^2 - u'^2)

    >>> far = np.array([0.5]), np.array([1.0])
    >>> float(wrong_order_after(*far, np.array([1.0]))[0]) == float(wrong_order(*far)[0])
    True
    """
    moves = np.sqrt(np.maximum(uncertainty**2 - narrower**2, 0.0))
    places = difference[..., None] + moves[..., None] * _NODES
    found: Floats = ndtr(-np.abs(places) / narrower[..., None]) @ _SHARES
    return found


@dataclass(slots=True)
class _Pairs:
    """Neighbours in the order: first and second place, difference, and the part of its variance that no trial reduces,
    now and after an empty-room run: natural decay, and what the trials of one setting share.
    """

    first: np.ndarray
    second: np.ndarray
    difference: Floats
    fixed: Floats
    fixed_later: Floats


def plan_order(
    settings: Sequence[RankedSetting], trials: int, natural_left: Callable[[int], float] = lambda pool_id: 1.0
) -> OrderPlan:
    """The best next trials for the order, one at a time, each with the estimates as they are.

    natural_left : by pool, share of its variance that is left after one more empty-room run
    """
    ordered = sorted(settings, key=lambda setting: (-setting.in_room.cleaning_per_h, setting.key))
    if len(ordered) < 2:
        return OrderPlan(0.0, tuple((one.key, 0.0) for one in ordered), 0.0, ())
    variances = now = np.array([one.own_variance for one in ordered])
    variances = variances.copy()
    numbers = np.array([max(one.trials, 1) for one in ordered], dtype=np.float64)
    pairs = _pairs(ordered, natural_left)
    wrong_now = float(_wrong(pairs, now).sum())
    first_gains = _gains(pairs, variances, numbers)
    steps = []
    for _ in range(trials):
        gains = _gains(pairs, variances, numbers)
        best = int(np.argmax(gains))
        variances[best] *= numbers[best] / (numbers[best] + 1)
        numbers[best] += 1
        wrong = float(_expected_wrong(pairs, now, variances).sum())
        steps.append(OrderStep(ordered[best].key, wrong))
    u = np.sqrt(now[pairs.first] + now[pairs.second] + pairs.fixed)
    later = np.sqrt(now[pairs.first] + now[pairs.second] + pairs.fixed_later)
    of_empty_run = wrong_now - float(wrong_order_after(pairs.difference, u, later).sum())
    by_gain = sorted(zip((one.key for one in ordered), first_gains.tolist(), strict=True), key=lambda pair: -pair[1])
    return OrderPlan(wrong_now, tuple(by_gain), max(of_empty_run, 0.0), tuple(steps))


def _pairs(ordered: Sequence[RankedSetting], natural_left: Callable[[int], float]) -> _Pairs:
    number = len(ordered)
    places = [(one, other) for one in range(number) for other in range(one + 1, min(one + 1 + NEIGHBOURS, number))]
    first, second = (np.array(side) for side in zip(*places, strict=True))
    cleaning = np.array([one.in_room.cleaning_per_h for one in ordered])
    correlations: dict[tuple[int, int], float] = {}
    natural, later = [], []
    for one, other in ((ordered[a].in_room, ordered[b].in_room) for a, b in places):
        key = one.pool_id, other.pool_id
        if key not in correlations:
            correlations[key] = natural_correlation(one, other)
        u, v = one.natural_decay.uncertainty, other.natural_decay.uncertainty
        variance = 0.0 if one.pool_id == other.pool_id else max(u * u + v * v - 2 * correlations[key] * u * v, 0.0)
        natural.append(variance)
        left = (natural_left(one.pool_id) + natural_left(other.pool_id)) / 2 if variance else 1.0
        later.append(variance * min(left, 1.0))
    shared = np.array([one.shared_per_h**2 for one in ordered])
    of_trials = shared[first] + shared[second]
    apart = cleaning[first] - cleaning[second]
    return _Pairs(first, second, apart, of_trials + np.array(natural), of_trials + np.array(later))


def _wrong(pairs: _Pairs, variances: Floats) -> Floats:
    return wrong_order(pairs.difference, np.sqrt(variances[pairs.first] + variances[pairs.second] + pairs.fixed))


def _gains(pairs: _Pairs, variances: Floats, numbers: Floats) -> Floats:
    """What one more trial of each setting takes from the expected number of pairs in the wrong order."""
    now = np.sqrt(variances[pairs.first] + variances[pairs.second] + pairs.fixed)
    wrong = wrong_order(pairs.difference, now)
    gains = np.zeros(variances.size)
    less = variances / (numbers + 1)
    for side in (pairs.first, pairs.second):
        narrower = np.sqrt(np.maximum(now**2 - less[side], 1e-18))
        np.add.at(gains, side, wrong - wrong_order_after(pairs.difference, now, narrower))
    return np.maximum(gains, 0.0)


def _expected_wrong(pairs: _Pairs, now: Floats, variances: Floats) -> Floats:
    """Expected probabilities after the planned trials, from the estimates as they are now."""
    u = np.sqrt(now[pairs.first] + now[pairs.second] + pairs.fixed)
    later = np.sqrt(variances[pairs.first] + variances[pairs.second] + pairs.fixed)
    return wrong_order_after(pairs.difference, u, np.minimum(later, u))


def certain_pairs(plan: OrderPlan) -> bool:
    """Whether hardly any pair is in doubt, so that further trials would do little for the order."""
    return plan.wrong_now < 0.05 or math.isclose(max((gain for _, gain in plan.gains), default=0.0), 0.0, abs_tol=1e-4)

"""One tested setting of a unit: its decay rate, and the inputs it shares with other settings."""

import math
from dataclasses import dataclass

from app.compute.statistics.measured import Measured
from app.compute.statistics.shared_parts import without_shared_part


@dataclass(frozen=True, slots=True)
class SettingInRoom:
    """Inputs of the clean air delivery rate V (k_total - k_natural) of one setting.

    total_decay : unit running, combined over its trials [1/h]; independent of every other setting
    pooled_spread : its uncertainty contains the bench's spread between trials, which is common to all such settings:
        their deviations are independent, but if the spread is too small it is too small for all
    natural_decay : of the pool named by `pool_id` [1/h]; the same value for all settings with that pool
    volume : of the room named by `room_id` [m³]; the same value for all settings in that room
    pool_runs : the empty-room runs of the pool, each with its weight; pools that share runs are correlated
    logger_id : of all trials, if it is one; linearity_per_h : its standard uncertainty in the total decay, a common
        factor of all settings measured with that logger [1/h]
    """

    total_decay: Measured
    natural_decay: Measured
    pool_id: int
    volume: Measured
    room_id: int
    pool_runs: tuple[tuple[int, float], ...] = ()
    pooled_spread: bool = False
    logger_id: int | None = None
    linearity_per_h: float = 0.0

    @property
    def cleaning_per_h(self) -> float:
        """Total less natural decay [1/h]."""
        return self.total_decay.value - self.natural_decay.value

    @property
    def rate_m3_per_h(self) -> float:
        """Clean air delivery rate, value only [m³/h]."""
        return self.volume.value * self.cleaning_per_h


def without_linearity(setting: SettingInRoom) -> Measured:
    """Total decay with the uncertainty that is independent of every other setting. [1/h]"""
    if setting.logger_id is None:
        return setting.total_decay
    return without_shared_part(setting.total_decay, setting.linearity_per_h)


def natural_correlation(one: SettingInRoom, other: SettingInRoom) -> float:
    r"""Correlation of two pooled natural decays that share some of their empty-room runs.

    .. math:: \rho = \frac{\sum_i w_i w'_i}{\sqrt{\sum_i w_i^2}\sqrt{\sum_i w_i'^2}}

    Follows from the covariance of two weighted means of independent runs with one variance. 1 for one pool, 0 for
    pools without a common run or whose runs are not known.

    >>> rate, natural, room = Measured(5.0, 0.1), Measured(0.5, 0.02), Measured(30.0, 0.5)
    >>> spring = SettingInRoom(rate, natural, 1, room, 1, ((11, 0.5), (12, 0.5)))
    >>> summer = SettingInRoom(rate, natural, 2, room, 1, ((12, 0.5), (13, 0.5)))
    >>> round(natural_correlation(spring, summer), 9)
    0.5
    """
    if one.pool_id == other.pool_id:
        return 1.0
    weights, others = dict(one.pool_runs), dict(other.pool_runs)
    common = sum(weight * others.get(run, 0.0) for run, weight in weights.items())
    return common / (math.hypot(*weights.values()) * math.hypot(*others.values())) if common else 0.0

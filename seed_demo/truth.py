"""True values of the invented units, which a good analysis of the logs has to recover."""

from dataclasses import dataclass

import numpy as np

from seed_demo.room_physics import CHANNEL_CLASSES, RoomConditions, total_decay
from seed_demo.scenario import LARGE_ROOM, SMOKE_SHARES
from seed_demo.scenario_types import InventedUnit, Speed
from seed_demo.simulate_trial import usual_conditions

LONGEST_H = 2.0  # an ordinary run ends by two hours


@dataclass(frozen=True, slots=True)
class TrueRate:
    """True clean air rate [m³/h] and decay rates [1/h] of one setting and channel in one room."""

    unit: InventedUnit
    speed: Speed
    channel: str
    clean_air_m3_per_h: float
    total_decay_per_h: float
    natural_decay_per_h: float


def true_rate(unit: InventedUnit, speed: Speed, channel: str = "pm2_5") -> TrueRate:
    r"""Clean air rate in the large room of a channel that adds up several size classes.

    Each class falls at its own rate, so the sum has no single one. The mean rate down to
    a twentieth of the start, or over two hours if that comes first, is used:

    .. math:: k = -\ln(C(T)/C(0))/T, \qquad Q = V\,(k_\mathrm{on} - k_\mathrm{off})

    For PM1, one class, this is the rate of the speed itself.
    """
    conditions = usual_conditions(LARGE_ROOM)
    delivered = tuple(factor * speed.clean_air_m3_per_h for factor in unit.by_size)
    running = _mean_decay(conditions, channel, delivered)
    empty = _mean_decay(conditions, channel, (0.0, 0.0, 0.0))
    return TrueRate(unit, speed, channel, LARGE_ROOM.true_volume_m3 * (running - empty), running, empty)


def _mean_decay(conditions: RoomConditions, channel: str, delivered: tuple[float, ...]) -> float:
    classes = range(CHANNEL_CLASSES[channel])
    rates = np.array([total_decay(conditions, size, delivered[size]) for size in classes])
    shares = np.array([SMOKE_SHARES[size] for size in classes])
    shares /= shares.sum()
    hours = np.linspace(0.0, LONGEST_H, 20_001)
    level = (shares[:, None] * np.exp(-rates[:, None] * hours)).sum(axis=0)
    cleared = np.flatnonzero(level <= 0.05)
    last = int(cleared[0]) if len(cleared) else len(hours) - 1
    return float(-np.log(level[last]) / hours[last])

"""One setting of a unit as it was tested: its decay rate, and what it shares with other settings tested there."""

from dataclasses import dataclass

from app.compute.measured import Measured


@dataclass(frozen=True, slots=True)
class SettingInRoom:
    """What the clean air delivery rate V (k_total - k_natural) of one setting is made of.

    total_decay : unit running, combined over its trials [1/h]; independent of every other setting
    natural_decay : of the pool named by `pool_id` [1/h]; the same value for all settings with that pool
    volume : of the room named by `room_id` [m³]; the same value for all settings in that room
    """

    total_decay: Measured
    natural_decay: Measured
    pool_id: int
    volume: Measured
    room_id: int

    @property
    def cleaning_per_h(self) -> float:
        """Total less natural decay [1/h]."""
        return self.total_decay.value - self.natural_decay.value

    @property
    def rate_m3_per_h(self) -> float:
        """Clean air delivery rate, value only [m³/h]."""
        return self.volume.value * self.cleaning_per_h

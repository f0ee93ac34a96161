"""Result of a power log."""

from dataclasses import dataclass

from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Note


@dataclass(frozen=True, slots=True)
class LogPower:
    """Mean power of a log.

    mean_power : energy over time [W]
    readings : different times with a reading
    notes : cautions about the meter and the log
    """

    mean_power: Measured
    duration_h: float
    readings: int
    highest_w: float
    notes: tuple[Note, ...]

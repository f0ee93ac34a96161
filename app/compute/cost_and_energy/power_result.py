"""Result of a power log."""

from dataclasses import dataclass

from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Note


@dataclass(frozen=True, slots=True)
class LogPower:
    """Mean power and energy of a log.

    mean_power : energy over time [W]
    readings : different times with a reading
    step_w : smallest difference between two values of the meter, zero where it never changed [W]
    notes : cautions about the meter and the log
    """

    mean_power: Measured
    energy_wh: float
    duration_h: float
    readings: int
    lowest_w: float
    highest_w: float
    step_w: float
    notes: tuple[Note, ...]

"""Which runs the limits of a control chart come from."""

from dataclasses import dataclass

REFERENCE_RUNS = 16
FEWEST_REFERENCE_RUNS = 12


@dataclass(frozen=True, slots=True)
class ReferencePeriod:
    """Where limits begin.

    first_day : limits apply from this day on
    last_day : last day of the reference runs; None: the first `REFERENCE_RUNS` runs
    """

    first_day: float
    last_day: float | None = None

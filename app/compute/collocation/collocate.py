"""Compares a logger with a reference logger in the same air: clock offset, line, curvature, precision."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.compute.collocation.alignment import ClockOffset, Floats, Levels, find_offset
from app.compute.collocation.clean_air_and_warm_up import means_of_both
from app.compute.collocation.errors_in_variables import CalibrationLine, calibration_line
from app.compute.collocation.performance import (
    AgainstReference,
    Precision,
    against_reference,
    precision_between,
)
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue

AVERAGING_S = 60.0
FEWEST_MEANS = 20
_HELD = 10  # equal readings in a row at the highest level that count as saturation; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Collocation:
    """A logger against the reference.

    time_s : starts of the averaging intervals on the reference's clock [s]
    reference, other : means over them [unit of the channel]
    saturated : readings left out because a logger was at its limit
    notes : sentences that qualify the result
    """

    clock: ClockOffset
    averaging_s: float
    line: CalibrationLine
    against: AgainstReference
    time_s: Floats
    reference: Floats
    other: Floats
    saturated: int
    notes: tuple[str, ...]

    @property
    def departure_pct(self) -> float:
        """Largest distance of the curve from its chord over the range measured, in % of the rise over the range."""
        span = float(self.reference.max() - self.reference.min())
        return 100 * self.line.curvature.value * span / 4 / self.line.slope.value

    @property
    def is_linear(self) -> bool:
        """Whether the interval of the quadratic term includes zero."""
        return self.line.curvature.low_95 <= 0 <= self.line.curvature.high_95


def collocate(
    reference: Levels,
    other: Levels,
    *,
    within_s: float = 900.0,
    expected_s: float = 0.0,
    limits: tuple[float | None, float | None] = (None, None),
    averaging_s: float | None = None,
) -> Collocation:
    """The comparison of one logger with the reference.

    within_s, expected_s : clocks are searched this far around the expected offset [s]
    limits : saturation levels of reference and logger, None where not known
    averaging_s : length of the means; None: `averaging_for` both

    Raises InvalidValue with the reason where the logs cannot be compared.
    """
    reference, of_reference = without_saturation(reference.usable(), limits[0])
    other, of_other = without_saturation(other.usable(), limits[1])
    if len(reference.level) == len(other.level) and np.array_equal(reference.level, other.level):
        raise InvalidValue(
            f"The logs of {reference.name} and {other.name} hold the same readings to the last digit: they are "
            "copies of one log. Choose the log of the other logger."
        )
    clock = find_offset(reference, other, within_s=within_s, expected_s=expected_s)
    averaging = averaging_s or averaging_for([reference, other])
    times, x, y = _paired(reference, other, clock.offset_s, averaging)
    if len(times) < FEWEST_MEANS:
        raise InvalidValue(
            f"The logs of {reference.name} and {other.name} share {len(times)} means of {averaging:.0f} s; the line "
            f"needs {FEWEST_MEANS}. Choose longer logs."
        )
    if float(np.std(x)) <= 0 or float(np.std(y)) <= 0:
        raise InvalidValue(
            f"The means of {reference.name} or {other.name} do not change, so no line can be fitted. Choose logs in "
            "which the level rises and falls."
        )
    line, york = calibration_line(x, y)
    if not york.converged:
        raise InvalidValue(
            f"The line through the readings of {reference.name} and {other.name} could not be fitted: they hardly "
            "depend on each other. Check that both were in the same air."
        )
    line = _with_offset(line, reference, other, clock, averaging)
    found = Collocation(
        clock=clock,
        averaging_s=averaging,
        line=line,
        against=against_reference(x, y),
        time_s=times,
        reference=x,
        other=y,
        saturated=of_reference + of_other,
        notes=(),
    )
    return replace(found, notes=_notes(found, reference, other, (of_reference, of_other)))


def averaging_for(loggers: Sequence[Levels]) -> float:
    """Length of the means: a minute, or four intervals of the slowest logger [s]."""
    return max(AVERAGING_S, *(4 * each.interval_s for each in loggers))


def precision_of(comparisons: Sequence[Collocation]) -> Precision | None:
    """Precision between the reference and all loggers, at the times that all of them share; None without such times."""
    shared = comparisons[0].time_s
    for each in comparisons[1:]:
        shared = shared[np.isin(shared, each.time_s)]
    if len(shared) < FEWEST_MEANS:
        return None
    first = comparisons[0]
    rows = [first.reference[np.isin(first.time_s, shared)]]
    rows += [each.other[np.isin(each.time_s, shared)] for each in comparisons]
    return precision_between(np.stack(rows))


def without_saturation(levels: Levels, limit: float | None) -> tuple[Levels, int]:
    """The readings below the logger's limit, and how many were not: at or above `limit`, or a highest level that
    repeats ten times in a row while other levels change.
    """
    top = float(np.max(levels.level))
    at_top = np.concatenate([[0], (levels.level >= top).astype(np.int64), [0]])
    turns = np.flatnonzero(np.diff(at_top))
    below = np.diff(levels.level)[(levels.level < top)[1:]]
    changes = len(below) > 0 and float(np.mean(below == 0)) < 0.5  # or a coarse display repeats any level
    held = changes and bool(np.any(turns[1::2] - turns[::2] >= _HELD))
    above = levels.level >= (top if held and (limit is None or top < limit) else math.inf if limit is None else limit)
    return replace(levels, level=np.where(above, np.nan, levels.level)), int(above.sum())


def _paired(reference: Levels, other: Levels, offset_s: float, averaging: float) -> tuple[Floats, Floats, Floats]:
    return means_of_both(reference, replace(other, time_s=other.time_s - offset_s), averaging)


def _with_offset(
    line: CalibrationLine, reference: Levels, other: Levels, clock: ClockOffset, averaging: float
) -> CalibrationLine:
    """The line with the part of its uncertainty that comes from the clock offset: half the change between the line one
    standard uncertainty earlier and later.
    """
    ends = []
    for side in (-1.0, 1.0):
        _, x, y = _paired(reference, other, clock.offset_s + side * clock.uncertainty_s, averaging)
        ends.append(calibration_line(x, y)[0] if len(x) >= FEWEST_MEANS else line)
    early, late = ends
    return replace(
        line,
        slope=_wider(line.slope, late.slope.value - early.slope.value),
        intercept=_wider(line.intercept, late.intercept.value - early.intercept.value),
        curvature=_wider(line.curvature, late.curvature.value - early.curvature.value),
    )


def _wider(own: Measured, change: float) -> Measured:
    return Measured(own.value, math.hypot(own.uncertainty, change / 2), own.degrees_of_freedom)


def _notes(found: Collocation, reference: Levels, other: Levels, saturated: tuple[int, int]) -> tuple[str, ...]:
    notes = []
    for levels, number in zip((reference, other), saturated, strict=True):
        if number:
            notes.append(
                f"{levels.name} was at its limit in {number} reading{'' if number == 1 else 's'}, which are left out."
            )
    if abs(found.clock.offset_s) > max(60.0, 3 * found.clock.uncertainty_s):
        side = "ahead of" if found.clock.offset_s > 0 else "behind"
        notes.append(f"The clock of {other.name} is {abs(found.clock.offset_s):.0f} s {side} that of {reference.name}.")
    if not found.is_linear:
        notes.append(
            f"{other.name} is not linear against {reference.name}: the curve departs from a straight line by up to "
            f"{abs(found.departure_pct):.1f} % of the range."
        )
    if found.line.effective_points < len(found.reference) / 3:
        notes.append(
            f"Neighbouring means are not independent: {len(found.reference)} means count as "
            f"{found.line.effective_points:.0f}, and the intervals are wider for it."
        )
    return tuple(notes)

"""What the checks of a logger say of the rate of a trial."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.collocation.rate_effect import LoggerLine, rate_change_by_curvature
from app.compute.decay.systematic import LINEARITY
from app.compute.statistics.measured import Measured
from app.storage.models.loggers import Logger, LoggerCheck


@dataclass(frozen=True, slots=True)
class LinesByDay:
    """Of each logger and channel the lines that its checks found, oldest first, each with the day of the check."""

    lines: Mapping[tuple[int, str], list[tuple[date, LoggerLine]]]

    @property
    def loggers(self) -> set[int]:
        """Loggers of which a check shows a curvature."""
        return {logger for (logger, _), found in self.lines.items() if any(line.shows_curvature for _, line in found)}

    def of(self, logger_id: int | None, at: datetime | None) -> dict[str, LoggerLine]:
        """By channel the last line up to the day of a trial, or of all days, where it shows a curvature."""
        found = {}
        for (logger, channel), lines in self.lines.items():
            until = [line for day, line in lines if at is None or day <= at.date()]
            if logger == logger_id and until and until[-1].shows_curvature:
                found[channel] = until[-1]
        return found


def lines_by_day(session: Session, logger_ids: Collection[int] | None = None) -> LinesByDay:
    """The lines of some loggers, or of all."""
    query = select(LoggerCheck).where(LoggerCheck.curvature.is_not(None), LoggerCheck.slope.is_not(None))
    if logger_ids is not None:
        query = query.where(LoggerCheck.logger_id.in_(logger_ids))
    found: dict[tuple[int, str], list[tuple[date, LoggerLine]]] = {}
    for check in session.scalars(query.order_by(LoggerCheck.checked_on, LoggerCheck.id)):
        found.setdefault((check.logger_id, check.channel), []).append((check.checked_on, _line(check)))
    return LinesByDay(found)


def _line(check: LoggerCheck) -> LoggerLine:
    low, high = check.curvature_low_95, check.curvature_high_95
    return LoggerLine(
        Measured(check.slope or 1.0, check.slope_uncertainty or 0.0),
        Measured(check.curvature or 0.0, check.curvature_uncertainty or 0.0),
        shows_curvature=low is not None and high is not None and not low <= 0 <= high,
    )


@dataclass(frozen=True, slots=True)
class Decay:
    """A fitted decay: background and amplitude [unit of the channel], rate [1/h], length of the fit window [h]."""

    background: float
    amplitude: float
    rate_per_h: float
    window_h: float


def linearity_words(logger: Logger, on: date, channel: str, decay: Decay, included_per_h: float) -> str:
    """A sentence on what the last check of a logger, up to a day, means for a rate; "" without such a check. The logger
    is loaded with its checks.

    included_per_h : part of the uncertainty that is for the curvature, 0 for the general line for linearity
    """
    checks = [
        check
        for check in logger.checks
        if check.channel == channel and check.checked_on <= on and check.curvature is not None
    ]
    if not checks:
        return ""
    line, day = _line(checks[-1]), checks[-1].checked_on.isoformat()
    general = f"the {100 * LINEARITY:g} % for linearity"
    start = "Gain and offset of the logger do not change a rate."
    if included_per_h > 0:
        share = 100 * included_per_h / decay.rate_per_h
        return f"{start} The check on {day} shows a curvature: the interval has {share:.2g} % for it, not {general}."
    curve = (decay.background, decay.amplitude, decay.rate_per_h)
    change = rate_change_by_curvature(line.slope, line.curvature, curve, decay.window_h)
    if not line.shows_curvature:
        return (
            f"{start} The check on {day} cannot tell its curvature from zero. One within its own uncertainty "
            f"could change this rate by {100 * change:.2g} % (standard uncertainty); the interval has {general}."
        )
    return f"{start} The curvature in the check on {day} changes this rate by {100 * change:.2g} %, within {general}."

"""Computes a check from stored logs."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.compute.collocation.alignment import Levels
from app.compute.collocation.clean_air_and_warm_up import clean_air, warm_up
from app.compute.collocation.collocate import Collocation, averaging_for, collocate, precision_of
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue, NotFound
from app.reading_files.headers.channels import channel
from app.services.logs.logger_checks.definitions import WARM_UP, ZERO, NewLoggerCheck
from app.services.logs.readings import read_readings
from app.storage.models.loggers import Logger
from app.storage.models.logs import Log


@dataclass(frozen=True, slots=True)
class LogOfLogger:
    """A stored log, and the logger that wrote it."""

    logger_id: int
    log_id: int


@dataclass(frozen=True, slots=True)
class LoggerLevels:
    """Readings of one channel of a log, with what its logger's limits are."""

    levels: Levels
    unit: str
    limit: float | None
    clock_is_known: bool


def common_channel(session: Session, logs: Sequence[LogOfLogger], wanted: str, usual: str) -> str:
    """The channel that is compared: the wanted one, else the usual one, else the first particle channel in all logs.

    Raises InvalidValue where it is not in all of them.
    """
    held = []
    for each in logs:
        log = _log(session, each.log_id)
        held.append((log.file_name, [one.channel for one in log.channels]))
    shared = [name for name in held[0][1] if all(name in names for _, names in held)]
    if wanted and wanted not in shared:
        short = next((name, names) for name, names in held if wanted not in names)
        raise InvalidValue(
            f"{short[0]} has no channel {wanted!r}; it has: {', '.join(short[1]) or 'none'}. Choose another channel.",
            field="channel",
        )
    if wanted or usual in shared:
        return wanted or usual
    particles = [name for name in shared if channel(name).is_particle]
    if not particles:
        named = "; ".join(f"{name}: {', '.join(names) or 'none'}" for name, names in held)
        raise InvalidValue(f"The logs share no particle channel ({named}). Choose logs of the same quantity.")
    return particles[0]


def levels_of(session: Session, of: LogOfLogger, name: str) -> LoggerLevels:
    """Readings on the scale of UTC seconds. Raises NotFound for an unknown logger or log."""
    logger = session.get(Logger, of.logger_id)
    if logger is None:
        raise NotFound("logger", of.logger_id)
    log = _log(session, of.log_id)
    readings = read_readings(session, of.log_id, [name])
    unit = readings.units[name]
    levels = Levels(logger.name, log.started_at.timestamp() + readings.elapsed_s, readings.levels[name])
    limit = logger.saturation_level_ug_m3 if unit == "µg/m³" else None
    return LoggerLevels(levels, unit, limit, log.clock_is_known)


def compared(reference: LoggerLevels, other: LoggerLevels, expected_s: float, averaging_s: float) -> Collocation:
    """The comparison of two logs. A log without a clock is taken to begin with the other one."""
    if reference.unit != other.unit:
        raise InvalidValue(
            f"{reference.levels.name} logs in {reference.unit} and {other.levels.name} in {other.unit}. Choose logs in "
            "the same unit of measure."
        )
    levels = other.levels
    if not (reference.clock_is_known and other.clock_is_known):
        began = levels.time_s - levels.time_s[0] + reference.levels.time_s[0]
        levels = Levels(levels.name, began, levels.level)
    return collocate(
        reference.levels,
        levels,
        expected_s=expected_s,
        limits=(reference.limit, other.limit),
        averaging_s=averaging_s,
    )


def results_of(new: NewLoggerCheck, loggers: Sequence[LoggerLevels]) -> list[dict[str, Any]]:
    """Columns of the result of each logger that is checked: all of them in clean air, else all but the reference."""
    if new.kind == ZERO:
        return [{"means": None, **_clean(new, each, needed=True)} for each in loggers]
    averaging = averaging_for([each.levels for each in loggers])
    found = [compared(loggers[0], each, new.expected_offset_s, averaging) for each in loggers[1:]]
    precision = precision_of(found)
    rows = []
    for each, comparison in zip(loggers[1:], found, strict=True):
        row = _columns(comparison) | _clean(new, each, needed=False)
        if precision is not None:
            row |= {"precision_sd": precision.sd, "precision_cv_pct": precision.cv_pct}
        row["loggers_together"] = len(loggers)
        if new.kind == WARM_UP:
            row |= _warming(loggers[0], each, comparison)
        rows.append(row)
    return rows


def _columns(found: Collocation) -> dict[str, Any]:
    return {
        "clock_offset_s": found.clock.offset_s,
        "clock_offset_uncertainty_s": found.clock.uncertainty_s,
        "averaging_s": found.averaging_s,
        "means": len(found.reference),
        "highest_level": float(found.reference.max()),
        **_parts("slope", found.line.slope),
        **_parts("intercept", found.line.intercept),
        **_parts("curvature", found.line.curvature),
        "departure_pct": found.departure_pct,
        "r_squared": found.against.r_squared,
        "rmse": found.against.rmse,
        "nrmse_pct": found.against.nrmse_pct,
        "saturated_readings": found.saturated,
        "result_notes": "\n".join(found.notes),
    }


def _clean(new: NewLoggerCheck, of: LoggerLevels, *, needed: bool) -> dict[str, Any]:
    if not needed and new.clean_from_min is None and new.clean_to_min is None:
        return {}
    minutes = (of.levels.time_s - of.levels.time_s[0]) / 60
    low = 0.0 if new.clean_from_min is None else new.clean_from_min
    high = float(minutes[-1]) if new.clean_to_min is None else new.clean_to_min
    inside = (minutes >= low) & (minutes <= high)
    found = clean_air(Levels(of.levels.name, of.levels.time_s[inside], of.levels.level[inside]))
    return {
        **_parts("zero_level", found.zero),
        "detection_limit": found.detection_limit,
        "detection_limit_low_95": found.detection_limit_low,
        "detection_limit_high_95": found.detection_limit_high,
    }


def _warming(reference: LoggerLevels, other: LoggerLevels, comparison: Collocation) -> dict[str, Any]:
    levels = other.levels
    moved = comparison.clock.offset_s
    if not (reference.clock_is_known and other.clock_is_known):
        moved += levels.time_s[0] - reference.levels.time_s[0]
    found = warm_up(reference.levels.usable(), Levels(levels.name, levels.time_s - moved, levels.level).usable())
    return {"settled_after_min": found.settled_after_min, "first_excess": found.first_excess}


def _parts(name: str, quantity: Measured) -> dict[str, float]:
    low, high = quantity.interval_95
    parts = {name: quantity.value, f"{name}_uncertainty": quantity.uncertainty}
    parts |= {f"{name}_low_95": low, f"{name}_high_95": high}
    return {key: float(np.float64(value)) for key, value in parts.items()}


def _log(session: Session, log_id: int) -> Log:
    log = session.scalar(select(Log).where(Log.id == log_id).options(selectinload(Log.channels)))
    if log is None:
        raise NotFound("log", log_id)
    return log

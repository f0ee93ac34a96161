"""Invented collocations of three loggers: side by side on one shelf, with three bursts of smoke."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy.orm import Session

from app.reading_files.read_log import read_log
from app.services.bench.loggers import change_logger
from app.services.logs.logger_checks.add import FileOfLogger, add_logger_checks
from app.services.logs.logger_checks.definitions import NewLoggerCheck
from app.services.logs.logger_profiles import load_profile
from app.services.results.trial_results import checks_change
from seed_demo.fill_bench import BenchIds
from seed_demo.log_writers import LAYOUTS, LOCAL_ZONE
from seed_demo.logged_run import LoggedRun
from seed_demo.room_physics import Curve
from seed_demo.scenario import DUST_RECORDER, HEATED, REVIEWER, TWIN, InventedLogger, detector
from seed_demo.sensor import write_down

REFERENCE, CHECKED = HEATED, (TWIN, DUST_RECORDER)
MINUTES = 130
_STEP_S, _INTERVAL_S = 1.0, 10.0
EVERY_DAYS = 365
# Day of each collocation, and the gain of the checked loggers on it: the twin drifts, the dust recorder is adjusted.
DAYS: tuple[tuple[date, tuple[float, float]], ...] = (
    (date(2024, 3, 4), (1.00, 1.00)),
    (date(2024, 10, 7), (0.97, 1.03)),
    (date(2025, 4, 14), (0.94, 1.07)),
    (date(2025, 9, 29), (0.92, 1.00)),
)
# Clocks of the checked loggers against that of the reference [s].
CLOCKS_S = (14.0, -41.0)


def add_logger_collocations(session: Session, ids: BenchIds, *, small: bool) -> None:
    """The collocations of two years; the last one alone in a small bench."""
    for day, gains in DAYS[-1:] if small else DAYS:
        begins = datetime.combine(day, time(9), tzinfo=ZoneInfo(LOCAL_ZONE))
        files = [
            _file(session, ids, logger, *_log(logger, begins, clock_s, gain))
            for logger, clock_s, gain in zip((REFERENCE, *CHECKED), (0.0, *CLOCKS_S), (1.0, *gains), strict=True)
        ]
        new = NewLoggerCheck(
            clean_from_min=0.0,
            clean_to_min=9.0,
            checked_by=REVIEWER,
            notes="Invented: one shelf, inlets 10 cm apart, a fan mixing the room.",
        )
        with checks_change(session, who=REVIEWER, why="a logger was checked"):
            add_logger_checks(session, new, files, who=REVIEWER, now=begins + timedelta(minutes=MINUTES + 40))
    if not small:
        for logger in CHECKED:
            change_logger(session, ids.loggers[logger.name], {"check_interval_days": EVERY_DAYS}, who=REVIEWER)


def _file(session: Session, ids: BenchIds, logger: InventedLogger, content: bytes, name: str) -> FileOfLogger:
    choices = load_profile(session, ids.profiles[logger.name])
    return FileOfLogger(ids.loggers[logger.name], content, read_log(content, name, choices), choices)


def true_level(time_s: Curve) -> Curve:
    """PM2.5 of clean room air and three bursts of smoke that decay at three rates [µg/m³]."""
    level = np.full(len(time_s), 4.0)
    for start_s, height, rate_per_h in ((600.0, 320.0, 2.0), (3600.0, 180.0, 5.0), (5700.0, 90.0, 3.0)):
        since = np.maximum(time_s - start_s, 0.0)
        level += height * np.exp(-rate_per_h * since / 3600) * (1 - np.exp(-since / 150))
    return level


def _log(logger: InventedLogger, begins: datetime, clock_s: float, gain: float) -> tuple[bytes, str]:
    """File of a logger whose clock is ahead of the true time by `clock_s`, and its name."""
    write, ending = LAYOUTS[logger.layout]
    random = np.random.default_rng([begins.year, begins.month, len(logger.name), round(clock_s) % 1000])
    true = true_level(np.arange(0.0, MINUTES * 60.0, _STEP_S))
    humid = np.full(len(true), 42.0)
    levels = {}
    for channel, share in (("pm1", 0.8), ("pm2_5", 1.0), ("pm10", 1.15), ("pm2_5_b", 1.02)):
        seen = gain * share * true
        levels[channel] = write_down(seen, humid, _STEP_S, _INTERVAL_S, detector(logger, channel), random)
    count = len(levels["pm2_5"])
    levels["relative_humidity"] = np.full(count, 42.0)
    levels["temperature"] = np.full(count, 21.0)
    elapsed = _INTERVAL_S * np.arange(1, count + 1, dtype=np.float64)
    run = LoggedRun(begins + timedelta(seconds=clock_s), elapsed, levels)
    return write(run), f"collocation-{begins:%Y-%m-%d}-{logger.name.split()[0].lower()}.{ending}"

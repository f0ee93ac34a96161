"""Logs of loggers beside each other, as CSV files."""

from datetime import timedelta

from tests.compute.collocation.loggers import logger
from tests.conftest import NOW


def logger_file(
    seed: int, *, days: int = 0, channel: str = "PM2.5 [µg/m³]", level: float | None = None, **told: float
) -> bytes:
    """The file of a simulated logger, or of one that reads `level` all the time."""
    found = logger(seed, **told)  # type: ignore[arg-type]
    begins = NOW + timedelta(days=days)
    rows = [
        f"{(begins + timedelta(seconds=float(at))).isoformat()},{value if level is None else level:.3f}"
        for at, value in zip(found.time_s, found.level, strict=True)
    ]
    return "\n".join([f"time,{channel}", *rows]).encode()

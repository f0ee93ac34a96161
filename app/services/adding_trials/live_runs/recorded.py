"""The readings of a live run as arrays, and as the log file that a finished run is stored from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.services.adding_trials.live_runs.receive import EPOCH, channels_of
from app.storage.models.live_runs import live_readings
from app.storage.models.logs import VALUE_COLUMNS


@dataclass(frozen=True, slots=True)
class RunReadings:
    """Readings of some channels of a run, by rising time of the logger's clock.

    at_us : microseconds since 1970, shape (n,)
    levels : channel to values, not-a-number where there is none; units : channel to unit symbol
    """

    at_us: NDArray[np.int64]
    levels: dict[str, NDArray[np.float64]]
    units: dict[str, str]

    @property
    def elapsed_s(self) -> NDArray[np.float64]:
        """Seconds after the first reading."""
        return (self.at_us - self.at_us[0]) / 1e6 if self.at_us.size else np.zeros(0)

    def time(self, place: int) -> datetime:
        return EPOCH + timedelta(microseconds=int(self.at_us[place]))


@dataclass(frozen=True, slots=True)
class Extent:
    """Number of readings and the times of the first and last one; None without readings."""

    readings: int
    first_at: datetime | None
    last_at: datetime | None


def extent_of(session: Session, run_id: int) -> Extent:
    column = live_readings.c.at_us
    statement = select(func.count(), func.min(column), func.max(column)).where(live_readings.c.run_id == run_id)
    number, first, last = session.execute(statement).one()
    times = [None if us is None else EPOCH + timedelta(microseconds=us) for us in (first, last)]
    return Extent(number, times[0], times[1])


def read_run(
    session: Session,
    run_id: int,
    channels: Sequence[str] | None = None,
    *,
    since: int | None = None,
    newest: int | None = None,
) -> RunReadings:
    """The readings of a run, of the channels named or of all.

    since : only rows written after this value of the run's counter; newest : only the last ones by time
    """
    stored = {each.channel: each for each in channels_of(session, run_id)}
    chosen = [name for name in stored if channels is None or name in channels]
    columns = [live_readings.c[VALUE_COLUMNS[stored[name].position]] for name in chosen]
    statement = select(live_readings.c.at_us, *columns).where(live_readings.c.run_id == run_id)
    if since is not None:
        statement = statement.where(live_readings.c.change > since)
    if newest is not None:
        statement = statement.order_by(live_readings.c.at_us.desc()).limit(newest)
    else:
        statement = statement.order_by(live_readings.c.at_us)
    rows = session.connection().execute(statement).all()[:: -1 if newest is not None else 1]
    values = list(zip(*rows, strict=True)) or [()] * (1 + len(chosen))
    return RunReadings(
        at_us=np.array(values[0], dtype=np.int64),
        levels={name: np.array(of, dtype=float) for name, of in zip(chosen, values[1:], strict=True)},
        units={name: stored[name].unit for name in chosen},
    )


def log_of_run(readings: RunReadings) -> bytes:
    """The readings as a CSV log; the same readings give the same bytes.

    Numbers have as many digits as they need to be read back exactly.
    """
    head = [f"{name} [{readings.units[name]}]" if readings.units[name] else name for name in readings.levels]
    digits = "milliseconds" if bool((readings.at_us % 1000 == 0).all()) else "microseconds"
    if bool((readings.at_us % 1_000_000 == 0).all()):
        digits = "seconds"
    lines = [",".join(["time", *head])]
    columns = [values.tolist() for values in readings.levels.values()]
    for place, at_us in enumerate(readings.at_us.tolist()):
        time = (EPOCH + timedelta(microseconds=at_us)).astimezone(UTC).replace(tzinfo=None)
        cells = ["" if column[place] != column[place] else repr(column[place]) for column in columns]
        lines.append(",".join([f"{time.isoformat(timespec=digits)}Z", *cells]))
    return ("\n".join(lines) + "\n").encode()


def file_name_of_run(run_id: int, started_at: datetime) -> str:
    return f"live-run-{run_id}-{started_at.astimezone(UTC):%Y%m%dT%H%M%SZ}.csv"

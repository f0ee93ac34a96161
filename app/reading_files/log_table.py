"""What reading a log file gives: the readings as a table, and an account of how they were read."""

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class ReadingChoices:
    """What a person or a stored logger profile decided about a file; empty means: find it from the file.

    timezone : IANA name, or a distance such as UTC+01:00, for logs with local times
    assumed_timezone : zone of local times where neither the file nor `timezone` names one
    columns : header text of a column to channel name; "" leaves that column out; "time", "elapsed" and "box" say
        that it tells the time or the box of a row
    units : header text of a column to unit symbol, where the header does not tell
    box : which box or detector of a file that holds several (text of its identifying column, or name of a sheet)
    day_first : order of an ambiguous numeric date
    """

    timezone: str | None = None
    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    box: str | None = None
    day_first: bool | None = None
    assumed_timezone: str | None = None


@dataclass(frozen=True, slots=True)
class LogColumn:
    """One column of the file: what it was taken for, and why.

    use : "channel", "time", "box", "status" or "left out"; channel is None where it is not "channel"
    factor and offset turn the file's unit into the channel's: level = text * factor + offset.
    """

    position: int
    header: str
    channel: str | None
    use: str
    file_unit: str
    channel_unit: str
    factor: float
    offset: float
    reason: str
    first_values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SkippedRow:
    """A row, or a cell in it, that does not count as a reading, with the reason in plain words."""

    line: int
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class LogTable:
    """The readings of one box of one log, time rising, one row a time.

    started_at : time of the first reading, UTC
    elapsed_s : time since the first reading, strictly rising [s], shape (n,)
    levels : channel name to values in the channel's unit, not-a-number where there is no true reading
        (an empty cell, an error mark, or a held value that only repeats an earlier reading), each of shape (n,)
    units : channel name to its unit symbol
    interval_s : median step between rows of the file [s]
    clock_is_known : False where the file gives elapsed time only, or an impossible year
    zone_needed : True where the times are local and no zone is known: they were read as UTC for the time being
    zone_assumed : True where `timezone` is the assumed one of the choices
    date_order_unsure : True where nothing tells whether 3/4/2026 is in March or in April; `day_first` was assumed
    rows_read : rows of the file that have a time; rows of a file without any reading in them are counted, but stand
        in no array, and rows of equal time stand there once, with the mean of their readings
    skipped : the first rows and cells that do not count; rows_skipped and cells_skipped count all of them
    held_values : channel name to number of values left out because the logger only repeated the last one
    notes : sentences on what was decided (delimiter, decimal mark, zone, order, duplicates)
    """

    file_name: str
    sha256: str
    encoding: str
    delimiter: str
    decimal_mark: str
    header_line: int
    columns: tuple[LogColumn, ...]
    boxes: tuple[str, ...]
    box: str | None
    timezone: str
    started_at: datetime
    clock_is_known: bool
    interval_s: float
    elapsed_s: NDArray[np.float64]
    levels: dict[str, NDArray[np.float64]]
    units: dict[str, str]
    rows_read: int
    rows_skipped: int
    skipped: tuple[SkippedRow, ...]
    held_values: dict[str, int]
    notes: tuple[str, ...]
    zone_needed: bool = False
    zone_assumed: bool = False
    cells_skipped: int = 0
    day_first: bool | None = None
    date_order_unsure: bool = False

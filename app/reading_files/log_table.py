"""Result of reading a log file: the readings as a table, and how they were read."""

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class ReadingChoices:
    """Choices of a person or a logger profile about a file; empty: found from the file.

    timezone : IANA name, or an offset such as UTC+01:00, for logs with local times
    assumed_timezone : zone of local times where neither the file nor `timezone` names one
    columns : header text of a column to channel name; "" excludes the column; "time", "elapsed" and "box"
            mark a column with the time or the box of a row
    units : header text of a column to unit symbol, if the header has none
    box : which box or detector of a file that holds several (text of its identifying column, or name of a sheet)
    day_first : order of an ambiguous numeric date
    header_line : line number of the headers, from 1
    """

    timezone: str | None = None
    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    box: str | None = None
    day_first: bool | None = None
    assumed_timezone: str | None = None
    header_line: int | None = None


@dataclass(frozen=True, slots=True)
class LogColumn:
    """One column of the file: its use, and why.

    use : "channel", "time", "box", "status" or "left out"; channel is None where it is not "channel"
    factor and offset convert the file's unit to the channel's: level = text * factor + offset.
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
    """A row, or a cell in it, that does not count as a reading, with the reason."""

    line: int
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class LogTable:
    """The readings of one box of one log, time rising, one row per time.

    started_at : time of the first reading, UTC
    elapsed_s : time since the first reading, strictly rising [s], shape (n,)
    levels : channel name to values in the channel's unit, not-a-number where there is no true reading
        (an empty cell, an error mark, or a held value that only repeats an earlier reading), each of shape (n,)
    units : channel name to its unit symbol
    interval_s : median step between rows of the file [s]
    clock_is_known : False where the file gives elapsed time only, or an impossible year
    zone_needed : True where the times are local and no zone is known: read as UTC for now
    zone_assumed : True where `timezone` is the assumed one of the choices
    date_order_unsure : True if it is not known whether 3/4/2026 is in March or April; `day_first` was assumed
    rows_read : rows of the file that have a time; rows without a reading are counted, but are
            not in the arrays; rows of equal time are there once, with the mean of their readings
    skipped : the first rows and cells that do not count; rows_skipped and cells_skipped count all of them
    held_values : channel name to number of values omitted because the logger only repeated the last one
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

"""The time of each row according to the time plan: date and time, epoch, elapsed, or a clock without a date."""

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from app.reading_files.headers.preamble import Preamble
from app.reading_files.headers.search import Header, could_be_header, find_header
from app.reading_files.log_table import SkippedRow
from app.reading_files.refusals import quoted
from app.reading_files.text.digit_columns import Cells
from app.reading_files.text.line_fields import split_line
from app.reading_files.text.number_text import numbers_of
from app.reading_files.text.time_text import DAY_US, ParsedTimes, parse_durations, parse_times
from app.reading_files.time.columns import TimePlan

if TYPE_CHECKING:
    import pandas as pd


SERIAL_DAY_ZERO = -25_569  # 1899-12-30, day zero of spreadsheets, in days since 1970-01-01
LARGEST_US = 290_000 * 366 * DAY_US  # keeps sums of microseconds within 64 bits


@dataclass(slots=True)
class RowTimes:
    """Times of the rows as in the file.

    us : microseconds since 1970 on the file's clock, or since the start for elapsed times
    valid : whether the row has a time
    in_utc : whether the time is known to be UTC
    at_midnight : rows with a date and no time, provisionally at midnight
    day_first, order_is_sure : how dates such as 3/4/2026 were read
    """

    us: NDArray[np.int64]
    valid: NDArray[np.bool_]
    in_utc: NDArray[np.bool_]
    at_midnight: NDArray[np.bool_]
    day_first: bool | None = None
    order_is_sure: bool = True


def row_times(
    of_columns: "tuple[pd.DataFrame, NDArray[np.bytes_] | None]",
    plan: TimePlan,
    decimal_mark: str,
    day_first: bool | None,
    likely_day_first: bool,
    preamble: Preamble,
) -> RowTimes:
    """The time of each row.

    of_columns : the rows as a frame, and the texts of its first column where it leaves that out
    day_first : chosen order of the date; likely_day_first : what to assume if unknown
    """
    frame, first_column = of_columns
    if plan.is_number:
        return _numbered(frame, plan, decimal_mark)
    cells = [_texts(frame, place) if first_column is None else first_column for place in plan.positions]
    if plan.kind == "duration":
        return _durations(cells[0])
    if day_first is None:
        day_first = _order_from_preamble(cells[0], preamble)
    if plan.kind == "date and time":
        return _from_two_columns(cells[0], cells[1], day_first, likely_day_first)
    parsed = parse_times(cells[0], day_first, likely_day_first)
    if plan.kind == "time of day":
        return _with_dates(parsed, preamble.start_day or 0)
    valid = (parsed.kind == 0) | (parsed.kind == 1)
    alone = parsed.kind == 1
    if alone.sum() > 0.5 * valid.sum():  # a table of dates only: each counts as its day
        alone = np.zeros(len(valid), dtype=bool)
    us = parsed.days * DAY_US + parsed.time_us - parsed.offset_us
    return _dated(us, valid, parsed.has_offset, alone, parsed)


def _texts(frame: "pd.DataFrame", position: int) -> NDArray[np.object_]:
    column = frame[position]
    texts: NDArray[np.object_] = (column.fillna("") if column.hasnans else column).to_numpy(dtype=object)
    return texts


def _order_from_preamble(cells: Cells, preamble: Preamble) -> bool | None:
    """If the dates of the table are ambiguous, dates in the preamble may determine the order."""
    if not preamble.dates:
        return None
    parsed = parse_times(cells[:2000])
    if parsed.day_first is None or parsed.order_is_sure:
        return None
    above = parse_times(preamble.dates)
    return above.day_first if above.day_first is not None and above.order_is_sure else None


def _dated(
    us: NDArray[np.int64],
    valid: NDArray[np.bool_],
    in_utc: NDArray[np.bool_],
    at_midnight: NDArray[np.bool_],
    parsed: ParsedTimes,
) -> RowTimes:
    return RowTimes(us, valid, in_utc, at_midnight & valid, parsed.day_first, parsed.order_is_sure)


def _from_two_columns(dates: Cells, clocks: Cells, day_first: bool | None, likely_day_first: bool) -> RowTimes:
    times = parse_times(clocks)
    # 1:30 PM implies month first
    days = parse_times(dates, day_first, likely_day_first and not times.half_day_clock)
    dated = (days.kind == 1) | (
        (days.kind == 0) & (days.time_us == 0)
    )  # some loggers write "21/05/2026 00:00:00" for a date
    timed = times.kind == 2
    lost = dated & ~timed
    if lost.any():
        lost &= np.fromiter((not clock.strip() for clock in clocks), dtype=bool, count=len(clocks))
    us = days.days * DAY_US + np.where(timed, times.time_us, 0) - times.offset_us
    return _dated(us, (dated & timed) | lost, times.has_offset, lost, days)


def _with_dates(parsed: ParsedTimes, start_day: int) -> RowTimes:
    """A clock without a date: a step back of more than half a day is a midnight."""
    valid = parsed.kind == 2
    us = np.where(valid, parsed.time_us + start_day * DAY_US, 0)
    places = np.flatnonzero(valid)
    clock = us[places]
    if len(clock) > 1:
        steps = (np.diff(clock) + DAY_US // 2) % DAY_US - DAY_US // 2  # the shorter way across midnight
        backwards = bool((steps < 0).sum() > (steps > 0).sum())
        clock = clock[::-1] if backwards else clock
        midnights = np.concatenate(([0], np.cumsum(np.diff(clock) < -DAY_US // 2)))
        clock = clock + midnights * DAY_US
        us[places] = clock[::-1] if backwards else clock
    return RowTimes(us, valid, parsed.has_offset, np.zeros(len(us), dtype=bool))


def _numbered(frame: "pd.DataFrame", plan: TimePlan, decimal_mark: str) -> RowTimes:
    values = numbers_of(frame[plan.positions[0]], decimal_mark, "", 1.0, 0.0).values
    seconds = values * (86400.0 if plan.kind == "serial day" else plan.seconds)
    valid = np.isfinite(seconds) & (np.abs(seconds) * 1e6 < LARGEST_US)
    us = np.rint(np.where(valid, seconds, 0.0) * 1e6).astype(np.int64)
    if plan.kind == "serial day":
        us = us + SERIAL_DAY_ZERO * DAY_US
        us = (us + 500) // 1000 * 1000  # a fraction of a day is only exact to a fraction of a millisecond
    return RowTimes(us, valid, np.full(len(us), plan.kind == "epoch"), np.zeros(len(us), dtype=bool))


def _durations(cells: Cells) -> RowTimes:
    seconds = parse_durations(cells)
    valid = ~np.isnan(seconds)
    us = np.rint(np.where(valid, seconds, 0.0) * 1e6).astype(np.int64)
    return RowTimes(us, valid, np.zeros(len(us), dtype=bool), np.zeros(len(us), dtype=bool))


def resolve_midnights(us: NDArray[np.int64], at_midnight: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which rows without a time do fit midnight, given the rows around them (in order of time)."""
    fits = at_midnight.copy()
    known = np.flatnonzero(~at_midnight)
    steps = np.diff(us[known])
    usual = int(np.median(steps[steps > 0])) if (steps > 0).any() else 0
    for row in np.flatnonzero(at_midnight):
        place = int(np.searchsorted(known, row))
        before = int(us[known[place - 1]]) if place else None
        after = int(us[known[place]]) if place < len(known) else None
        moment = int(us[row])
        if (
            (before is None and after is None)
            or (before is not None and not before <= moment <= before + 10 * usual)
            or (after is not None and not after - 10 * usual <= moment <= after)
        ):
            fits[row] = False
    return fits


ROWS_CHECKED = 20_000
MOST_LISTED = 1000
MOST_LATER_HEADERS = 50


@dataclass(slots=True)
class RowsWithoutTime:
    """Result for the rows without a time.

    count : number that are not blank
    listed : the first of them, with reasons
    later_headers : other headers, where new tables begin
    """

    count: int = 0
    listed: list[SkippedRow] = field(default_factory=list)
    later_headers: list[Header] = field(default_factory=list)


def account_for(
    row_lines: NDArray[np.int64], lines: list[str], delimiter: str, header: Header, time_column: str, stop: int
) -> RowsWithoutTime:
    """Why the rows have no time.

    row_lines : their line numbers, from 1
    """
    found = RowsWithoutTime()
    current = _folded(header.names)
    for checked, line in enumerate(row_lines):
        text = lines[line - 1]
        if not text.strip(' \t,;|"'):
            continue
        found.count += 1
        cells = split_line(text, delimiter) if checked < ROWS_CHECKED else []
        if cells and _folded(cells) == current:
            reason = "repeated header"
        elif len([cell for cell in cells if cell]) > 1 and could_be_header(cells):
            reason = "a header line"
            later = find_header(lines[line - 1 : min(stop, line + 60)], delimiter)
            if later is not None and later.line == 0:
                current = _folded(cells)
                found.later_headers.append(
                    replace(later, line=int(line) - 1, first_row=later.first_row + int(line) - 1)
                )
        else:
            reason = f"no time in {quoted(time_column)}"
        if len(found.later_headers) == MOST_LATER_HEADERS:
            break  # the file is rejected for it
        if len(found.listed) < MOST_LISTED:
            found.listed.append(SkippedRow(int(line), text[:200], reason))
    return found


def _folded(cells: list[str] | tuple[str, ...]) -> list[str]:
    return [cell.casefold() for cell in cells if cell and not cell.startswith("column ")]

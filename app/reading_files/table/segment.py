"""One table of a log, from one header to the next: its columns, times and levels."""

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from app.reading_files.columns.roles import Table, chosen_positions, find_roles, refuse_unrecognised
from app.reading_files.headers.preamble import Preamble
from app.reading_files.headers.search import Header
from app.reading_files.log_table import LogColumn, ReadingChoices, SkippedRow
from app.reading_files.refusals import refusal
from app.reading_files.table.body import LongLayout, find_long_layout, quantities, read_body, refuse_split_decimals
from app.reading_files.text.line_fields import find_decimal_mark, split_line
from app.reading_files.text.number_text import numbers_of
from app.reading_files.time.columns import TimePlan, find_time_plan, first_row_note
from app.reading_files.time.row_times import RowTimes, account_for, row_times

if TYPE_CHECKING:
    import pandas as pd

ROWS_RECOGNISED = 100
ROWS_SPREAD = 30
MOST_COLUMNS = 20_000
MOST_CELLS = 100_000_000
MOST_BOXES = 500


@dataclass(slots=True)
class Source:
    """Data shared by all tables of one file."""

    lines: list[str]
    file_name: str
    delimiter: str
    last_line_ends: bool
    choices: ReadingChoices
    preamble: Preamble


@dataclass(slots=True)
class Segment:
    """One table, rows in the order of the file, every row with a time.

    line : line number of each row
    boxes : box of each row, None if the table has no such column
    levels : channel to values; unreadable : channel to (row, text) of cells without a number
    units : channel to unit
    is_long : whether the table has one row per quantity
    later_headers : headers further down, where new tables begin
    """

    header: Header
    columns: tuple[LogColumn, ...]
    plan: TimePlan
    decimal_mark: str
    times: RowTimes
    line: NDArray[np.int64]
    boxes: NDArray[np.object_] | None = None
    levels: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    unreadable: dict[str, dict[int, str]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    skipped: list[SkippedRow] = field(default_factory=list)
    rows_skipped: int = 0
    is_long: bool = False
    later_headers: list[Header] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Recognised:
    """Result of examining the first rows of a table."""

    plan: TimePlan
    decimal_mark: str
    columns: tuple[LogColumn, ...]
    taken: list[LogColumn]
    box_position: int | None
    layout: LongLayout | None
    notes: list[str]


def read_segment(source: Source, header: Header, stop: int) -> Segment:
    """The table from its header to line index `stop`."""
    known = _recognise(source, header, stop)
    plan, layout = known.plan, known.layout
    as_text = set() if plan.is_number else set(plan.positions)
    if known.box_position is not None:
        as_text.add(known.box_position)
    if layout is not None:
        as_text |= set(layout.text_positions)
    positions = {*plan.positions, *as_text, *(column.position for column in known.taken)}
    if layout is not None:
        positions.add(layout.value)
    rows = stop - header.first_row
    if rows * (max(positions) + 1) > MOST_CELLS:
        raise refusal(
            source.file_name,
            f"The table has {rows:,} rows of {len(header.names):,} columns; at most {MOST_CELLS:,} cells are read.",
            "Cut the log to the hours of the trial, or export fewer columns.",
            line=header.line + 1,
        )
    body = read_body(
        source.lines[header.first_row : stop],
        header.first_row + 1,
        source.delimiter,
        known.decimal_mark,
        len(header.names),
        sorted(positions),
        as_text,
        source.last_line_ends or stop < len(source.lines),
    )
    likely_day_first = source.delimiter == ";" or known.decimal_mark == ","
    choices = source.choices
    of_columns = body.frame, body.first_column
    times = row_times(of_columns, plan, known.decimal_mark, choices.day_first, likely_day_first, source.preamble)
    segment = Segment(header, known.columns, plan, known.decimal_mark, times, body.lines, notes=known.notes)
    segment.skipped, segment.rows_skipped = body.skipped, len(body.skipped)
    frame = _with_time_only(segment, source, body.frame, stop)
    if known.box_position is not None:
        texts = frame[known.box_position].fillna("").astype(str).str.strip().to_numpy(dtype=object)
        segment.boxes = texts if 1 <= len(set(texts)) <= MOST_BOXES else None
    for column in known.taken:
        _take(segment, column, frame[column.position])
    if layout is not None:
        _take_quantities(segment, source, frame, layout)
    return segment


def _recognise(source: Source, header: Header, stop: int) -> _Recognised:
    if len(header.names) > MOST_COLUMNS:
        raise refusal(
            source.file_name,
            f"The header has {len(header.names):,} columns; at most {MOST_COLUMNS:,} are read.",
            "Export fewer columns.",
            line=header.line + 1,
        )
    cells = _first_cells(source, header, stop)
    decimal_mark = find_decimal_mark([cell for column in cells[:200] for cell in column[:20]], source.delimiter)
    chosen, missing = chosen_positions(header, source.choices)
    interval = source.preamble.interval_s
    plan = find_time_plan(header, cells, decimal_mark, chosen, source.choices.day_first, interval)
    table = Table(header, cells, plan, chosen, source.choices, source.preamble, decimal_mark, source.file_name)
    roles = find_roles(table)
    layout = find_long_layout(header, cells, decimal_mark)
    box_position = None if layout is not None and roles.box_position == layout.name else roles.box_position
    taken = [column for column in roles.columns if column.use == "channel"]
    if layout is not None:
        taken, missing = [column for column in taken if column.position in chosen], []
    refuse_unrecognised(
        source.file_name,
        header,
        roles.columns,
        has_time=plan is not None,
        has_channel=bool(taken) or layout is not None,
        missing=missing,
    )
    assert plan is not None
    note = first_row_note(header, cells, decimal_mark)
    notes = [*plan.notes, *([note] if note else [])]
    return _Recognised(plan, decimal_mark, roles.columns, taken, box_position, layout, notes)


def _first_cells(source: Source, header: Header, stop: int) -> list[list[str]]:
    """Non-empty cells of each position: from the first rows, and some from the rest of the table."""
    first = header.first_row
    top = [line for line in source.lines[first : min(stop, first + 2 * ROWS_RECOGNISED)] if line.strip()]
    rest = source.lines[first + 2 * ROWS_RECOGNISED : stop]
    spread = rest[:: max(1, len(rest) // ROWS_SPREAD)]
    rows = [split_line(line, source.delimiter) for line in (*top[:ROWS_RECOGNISED], *spread)]
    width = len(header.names)
    if source.delimiter == "," and rows:
        place = next(index for index in range(first, stop) if source.lines[index].strip())
        refuse_split_decimals(rows, width, source.file_name, place + 1, source.lines[place])
    columns: list[list[str]] = [[] for _ in range(width)]
    for row in rows:
        for position, cell in enumerate(row[:width]):
            if cell:
                columns[position].append(cell)
    return columns


def _with_time_only(segment: Segment, source: Source, frame: "pd.DataFrame", stop: int) -> "pd.DataFrame":
    """The rows with a time; the others are listed in the segment."""
    times = segment.times
    keep = np.flatnonzero(times.valid)
    if len(keep) == len(frame):
        return frame
    noted = {skip.line for skip in segment.skipped}
    without = np.array([line for line in segment.line[~times.valid] if int(line) not in noted], dtype=np.int64)
    time_column = segment.header.names[segment.plan.positions[0]]
    account = account_for(without, source.lines, source.delimiter, segment.header, time_column, stop)
    segment.skipped += account.listed
    segment.rows_skipped += account.count
    segment.later_headers = account.later_headers
    segment.line = segment.line[keep]
    segment.times = replace(
        times,
        us=times.us[keep],
        valid=times.valid[keep],
        in_utc=times.in_utc[keep],
        at_midnight=times.at_midnight[keep],
    )
    return frame.iloc[keep].reset_index(drop=True)


def _take(segment: Segment, column: LogColumn, cells: "pd.Series") -> None:
    name = column.channel
    assert name is not None
    numbers = numbers_of(cells, segment.decimal_mark, column.channel_unit, column.factor, column.offset)
    before = segment.levels.get(name)
    if before is None:
        segment.levels[name], segment.units[name] = numbers.values, column.channel_unit
    else:
        segment.levels[name] = np.where(np.isnan(before), numbers.values, before)
    segment.unreadable.setdefault(name, {}).update(numbers.unreadable)


def _take_quantities(segment: Segment, source: Source, frame: "pd.DataFrame", layout: LongLayout) -> None:
    """The quantities of a long table; its columns replace the value column."""
    found = quantities(frame, layout, source.choices.columns)
    segment.is_long = True
    others = [
        replace(column, use="status", channel=None, reason="quantity, value or unit of measure of the row")
        if column.position in (layout.value, *layout.text_positions)
        else column
        for column in segment.columns
    ]
    segment.columns = (*others, *(item.column for item in found))
    for item in found:
        if item.column.channel is not None:
            _take(segment, item.column, frame[layout.value].where(item.rows))
    refuse_unrecognised(
        source.file_name,
        segment.header,
        segment.columns,
        has_time=True,
        has_channel=bool(segment.levels),
        missing=[],
    )

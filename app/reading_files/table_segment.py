"""One table of a log, from one header to the next: its columns, times and levels as they stand in the file."""

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from app.reading_files.column_roles import chosen_positions, find_roles
from app.reading_files.header_search import Header, could_be_header, find_header
from app.reading_files.line_fields import find_decimal_mark, split_line
from app.reading_files.log_table import LogColumn, ReadingChoices, SkippedRow
from app.reading_files.long_layout import find_long_layout, quantities
from app.reading_files.number_text import numbers_of, why_no_number
from app.reading_files.preamble import Preamble
from app.reading_files.refusals import ColumnsNotRecognised, quoted, refusal, where
from app.reading_files.row_times import RowTimes, row_times
from app.reading_files.table_body import read_body
from app.reading_files.time_columns import TimePlan, find_time_plan

if TYPE_CHECKING:
    import pandas as pd

ROWS_RECOGNISED = 160
ROWS_SPREAD = 40
MOST_COLUMNS = 20_000
MOST_CELLS = 100_000_000
MOST_BOXES = 500
HEADERS_CHECKED = 20_000


@dataclass(slots=True)
class Source:
    """What all tables of one file share."""

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
    boxes : text that tells the box of each row, None if the table has no such column
    levels : channel to values; unreadable : channel to (row, text) of cells that hold no number
    units : channel to unit
    filled : rows that hold a value in any channel
    """

    header: Header
    columns: tuple[LogColumn, ...]
    plan: TimePlan
    decimal_mark: str
    times: RowTimes
    line: NDArray[np.int64]
    boxes: NDArray[np.object_] | None
    levels: dict[str, NDArray[np.float64]]
    unreadable: dict[str, dict[int, str]]
    units: dict[str, str]
    skipped: list[SkippedRow] = field(default_factory=list)
    rows_skipped: int = 0
    is_long: bool = False
    later_headers: list[Header] = field(default_factory=list)


def read_segment(source: Source, header: Header, stop: int) -> Segment:
    """The table from its header to the line index `stop`."""
    if len(header.names) > MOST_COLUMNS:
        raise refusal(
            source.file_name,
            f"The header has {len(header.names):,} columns; at most {MOST_COLUMNS:,} are read.",
            "Export fewer columns.",
            line=header.line + 1,
        )
    cells = _first_cells(source, header, stop)
    numeric_cells = [cell for column in cells[:200] for cell in column[:40]]
    decimal_mark = find_decimal_mark(numeric_cells, source.delimiter)
    chosen, missing = chosen_positions(header, source.choices)
    plan = find_time_plan(header, cells, decimal_mark, chosen, source.choices.day_first, source.preamble.interval_s)
    roles = find_roles(header, cells, plan, chosen, source.choices, source.preamble, decimal_mark, source.file_name)
    layout = find_long_layout(header, cells, decimal_mark)
    taken = [column for column in roles.columns if column.use == "channel"]
    if layout is not None:
        taken = [column for column in taken if column.position in chosen]
        missing = []
    _refuse_unrecognised(source, header, roles.columns, plan, missing, bool(taken) or layout is not None)
    assert plan is not None
    boxes_at = [roles.box_position] if roles.box_position is not None else []
    positions = [*plan.positions, *boxes_at, *(column.position for column in taken)]
    as_text = set(boxes_at) | (
        set(plan.positions) if plan.kind not in ("epoch", "elapsed", "serial day", "rows") else set()
    )
    if layout is not None:
        positions += layout.positions
        as_text |= {layout.name, *([layout.unit] if layout.unit is not None else [])}
    rows = stop - header.first_row
    if rows * (max(positions) + 1) > MOST_CELLS:
        raise refusal(
            source.file_name,
            f"The table has {rows:,} rows of {len(header.names):,} columns, more than {MOST_CELLS:,} cells.",
            "Cut the log to the hours of the trial, or export fewer columns.",
            line=header.line + 1,
        )
    body = read_body(
        source.lines[header.first_row : stop],
        header.first_row + 1,
        source.delimiter,
        decimal_mark,
        len(header.names),
        positions,
        as_text,
        source.last_line_ends or stop < len(source.lines),
    )
    times = row_times(body.frame, plan, decimal_mark, source.choices.day_first, source.preamble)
    segment = Segment(
        header,
        roles.columns,
        plan,
        decimal_mark,
        times,
        body.lines,
        None,
        {},
        {},
        {},
        list(body.skipped),
        len(body.skipped),
    )
    _account_for_rows_without_time(segment, source, stop)
    keep = np.flatnonzero(times.valid)
    frame = body.frame if len(keep) == len(body.frame) else body.frame.iloc[keep].reset_index(drop=True)
    _take_rows(segment, keep)
    if roles.box_position is not None:
        texts = frame[roles.box_position].fillna("").astype(str).str.strip().to_numpy(dtype=object)
        segment.boxes = texts if 1 <= len(set(texts)) <= MOST_BOXES else None
    _take_levels(segment, frame, taken, decimal_mark)
    if layout is not None:
        _take_long_levels(segment, frame, layout, decimal_mark, source)
    return segment


def _first_cells(source: Source, header: Header, stop: int) -> list[list[str]]:
    """For each position, cells that are not empty: from the first rows, and some from the rest of the table."""
    first = header.first_row
    places = list(range(first, min(stop, first + 2 * ROWS_RECOGNISED)))
    rest = range(first + 2 * ROWS_RECOGNISED, stop)
    places += list(rest[:: max(1, len(rest) // ROWS_SPREAD)])
    rows = []
    for index in places:
        if source.lines[index].strip():
            rows.append(split_line(source.lines[index], source.delimiter))
            if len(rows) >= ROWS_RECOGNISED and index < first + 2 * ROWS_RECOGNISED:
                if len(rows) >= ROWS_RECOGNISED + ROWS_SPREAD:
                    break
    width = len(header.names)
    columns: list[list[str]] = [[] for _ in range(width)]
    for row in rows:
        for position, cell in enumerate(row[:width]):
            if cell:
                columns[position].append(cell)
    return columns


def _refuse_unrecognised(
    source: Source,
    header: Header,
    columns: tuple[LogColumn, ...],
    plan: TimePlan | None,
    missing: list[str],
    any_channel: bool,
) -> None:
    place = where(source.file_name, header.line + 1 if header.line >= 0 else header.first_row + 1)
    line = header.line + 1 if header.line >= 0 else None
    listed = ", ".join(quoted(name) for name in header.names[:12])
    more = f" and {len(header.names) - 12} more" if len(header.names) > 12 else ""
    problem = ""
    if missing:
        problem = f"There is no column {quoted(missing[0])}. The columns are {listed}{more}. Name one of these."
    elif plan is None:
        problem = (
            f"No column holds times. The columns are {listed}{more}. Needed is a column with a date and time, or with "
            "the seconds since the start; if there is one, say which."
        )
    elif not any_channel:
        left = [column.header for column in columns if column.use == "left out" and column.first_values]
        example = f"{left[0]}=pm2_5" if left else "COLUMN=pm2_5"
        problem = (
            f"No column is known as a channel. The columns are {listed}{more}. Say what a column holds, for example "
            f"{quoted(example)}."
        )
    if problem:
        raise ColumnsNotRecognised(
            f"{place}: {problem}",
            file_name=source.file_name,
            columns=columns,
            line=line,
            text=source.lines[header.line] if header.line >= 0 else None,
        )


def _account_for_rows_without_time(segment: Segment, source: Source, stop: int) -> None:
    """Rows without a time are skipped with a reason; a different header among them begins a new table."""
    own = [cell.casefold() for cell in segment.header.names]
    noted = {skip.line for skip in segment.skipped}
    time_name = segment.header.names[segment.plan.positions[0]]
    without = np.flatnonzero(~segment.times.valid)
    for count, row in enumerate(without):
        line = int(segment.line[row])
        text = source.lines[line - 1]
        if not text.strip() or line in noted:
            continue
        cells = split_line(text, source.delimiter) if count < HEADERS_CHECKED else []
        if [cell.casefold() for cell in cells if cell] == [
            name for name, cell in zip(own, segment.header.names, strict=True) if cell
        ]:
            reason = "the header again"
        elif cells and len([cell for cell in cells if cell]) > 1 and could_be_header(cells):
            later = find_header(source.lines[line - 1 : min(stop, line + 60)], source.delimiter)
            if later is not None and later.line == 0:
                segment.later_headers.append(replace(later, line=line - 1, first_row=later.first_row + line - 1))
            reason = "a line of headers"
        elif not any(cell for cell in cells) and cells:
            continue
        else:
            reason = f"no time in {quoted(time_name)}"
        segment.rows_skipped += 1
        if len(segment.skipped) < 1000:
            segment.skipped.append(SkippedRow(line, text[:200], reason))


def _take_rows(segment: Segment, keep: NDArray[np.intp]) -> None:
    times = segment.times
    if len(keep) == len(times.us):
        return
    segment.line = segment.line[keep]
    segment.times = replace(
        times,
        us=times.us[keep],
        valid=times.valid[keep],
        in_utc=times.in_utc[keep],
        at_midnight=times.at_midnight[keep],
    )


def _take_levels(segment: Segment, frame: "pd.DataFrame", taken: list[LogColumn], decimal_mark: str) -> None:
    for column in taken:
        assert column.channel is not None
        numbers = numbers_of(frame[column.position], decimal_mark, column.channel_unit, column.factor, column.offset)
        segment.levels[column.channel] = numbers.values
        segment.unreadable[column.channel] = numbers.unreadable
        segment.units[column.channel] = column.channel_unit


def _take_long_levels(
    segment: Segment, frame: "pd.DataFrame", layout: object, decimal_mark: str, source: Source
) -> None:
    found = quantities(frame, layout, source.choices.columns)
    segment.is_long = True
    segment.columns = (
        *(column for column in segment.columns if column.use != "channel"),
        *(item.column for item in found),
    )
    for item in found:
        column = item.column
        if column.channel is None:
            continue
        numbers = numbers_of(
            frame[layout.value].where(item.rows), decimal_mark, column.channel_unit, column.factor, column.offset
        )
        before = segment.levels.get(column.channel)
        values = numbers.values if before is None else np.where(np.isnan(before), numbers.values, before)
        segment.levels[column.channel] = values
        segment.unreadable.setdefault(column.channel, {}).update(numbers.unreadable)
        segment.units[column.channel] = column.channel_unit
    if not segment.levels:
        _refuse_unrecognised(source, segment.header, segment.columns, segment.plan, [], False)


def describe_unreadable(
    segment: Segment, rows_taken: NDArray[np.bool_], source: Source
) -> tuple[list[SkippedRow], int]:
    """The cells that hold text instead of a number, with line, text and reason; and how many there are."""
    headers = {column.channel: column.header for column in segment.columns if column.channel}
    by_row: dict[int, list[tuple[str, str]]] = {}
    count = 0
    for name, cells in segment.unreadable.items():
        for row, text in cells.items():
            if rows_taken[row]:
                count += 1
                by_row.setdefault(row, []).append((name, text))
    described = []
    for row in sorted(by_row)[:1000]:
        name, text = by_row[row][0]
        more = f" (and {len(by_row[row]) - 1} more in this row)" if len(by_row[row]) > 1 else ""
        line = int(segment.line[row])
        reason = f"{quoted(headers.get(name, name))}: {why_no_number(text)}{more}"
        described.append(SkippedRow(line, source.lines[line - 1][:200], reason))
    return described, count

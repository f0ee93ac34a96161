"""Reads any logger file into one table of readings; the entry point of this package.

The steps: bytes to lines (`table/log_lines`), header (`headers/search`), lines above it
(`headers/preamble`), use of each column (`time/columns`, `columns/roles`), rows to numbers (`table/segment`,
`table/body`, `time/row_times`, `text/number_text`), the rows of one box in rising time (`table/joined_rows`,
`table/utc_order`, `table/held_values`), and at last the log that they make, here.
"""

import hashlib
import re
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from app.errors import UnreadableLog
from app.reading_files.headers.channels import is_particle_channel
from app.reading_files.headers.preamble import read_preamble
from app.reading_files.headers.search import Header
from app.reading_files.log_table import LogColumn, LogTable, ReadingChoices, SkippedRow
from app.reading_files.refusals import ColumnsNotRecognised, quoted, refusal
from app.reading_files.table.chosen_header import chosen_header
from app.reading_files.table.held_values import leave_out_held
from app.reading_files.table.joined_rows import (
    Rows,
    choose_box,
    describe_unreadable,
    ignore_place_numbers,
    joined,
    rows_of_box,
)
from app.reading_files.table.log_lines import LogLines, open_lines
from app.reading_files.table.segment import Segment, Source, read_segment
from app.reading_files.table.utc_order import in_utc_order, merge_equal_times
from app.reading_files.text.line_fields import DELIMITER_NAMES
from app.reading_files.time.row_times import MOST_LATER_HEADERS
from app.reading_files.time.zones import local_to_utc, zone_named


def read_log(content: bytes, file_name: str, choices: ReadingChoices | None = None) -> LogTable:
    r"""The readings of one box of a logger file.

    Parameters
    content : the bytes of a CSV, tab-separated, text or XLSX file
    file_name : for messages, and for a table without a header
    choices : choices of a person or a stored profile
    Raises   UnreadableLog with file, line, text found and what is needed; SeveralBoxes (with `boxes`) if the file
            contains several and none was chosen; ColumnsNotRecognised (with `columns`) if the times or all channels
            are missing

    >>> log = read_log(b"time,PM2.5 (mg/m3)\n2026-01-05T10:00:00Z,0.2\n2026-01-05T10:00:10Z,0.1\n", "log.csv")
    >>> log.levels["pm2_5"], log.units["pm2_5"], log.interval_s
    (array([200., 100.]), 'µg/m³', 10.0)
    """
    choices = choices or ReadingChoices()
    opened = open_lines(content, file_name, choices.box)
    header = chosen_header(opened, file_name, choices.header_line)
    preamble = read_preamble(opened.lines[: max(0, header.line)], choices.day_first)
    source = Source(opened.lines, file_name, opened.delimiter, opened.last_line_ends, choices, preamble)
    segments, notes = _read_segments(source, header)
    return assemble_log(content, source, opened, segments, notes)


def _read_segments(source: Source, header: Header) -> tuple[list[Segment], list[str]]:
    """The tables of the file, one for each different header."""
    stop = len(source.lines)
    whole = read_segment(source, header, stop)
    if not whole.later_headers:
        return [whole], []
    if len(whole.later_headers) >= MOST_LATER_HEADERS:
        last = whole.later_headers[-1]
        raise refusal(
            source.file_name,
            f"The header changes {MOST_LATER_HEADERS} times or more.",
            "Use one file per table.",
            line=last.line + 1,
            text=source.lines[last.line],
        )
    heads = [header, *whole.later_headers]
    stops = [head.line for head in heads[1:]] + [stop]
    segments, notes = [], []
    for head, end in zip(heads, stops, strict=True):
        try:
            segments.append(read_segment(source, head, end))
        except ColumnsNotRecognised as problem:
            if not segments:
                raise
            notes.append(f"The table from line {head.line + 1} was skipped: {problem.message}")
            continue
        if head is not header:
            notes.append(f"The header changes in line {head.line + 1}.")
    return segments, notes


EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FIRST_LIKELY_YEAR, LAST_LIKELY_YEAR = 2000, 2099


def log_start(first_us: int, source: Source, segment: Segment, zone: str) -> tuple[datetime, bool, list[str]]:
    """Time of the first reading in UTC, whether the clock is trusted, and notes on it."""
    preamble, notes = source.preamble, []
    if segment.plan.counts_from_start:
        if preamble.start_us is None:
            return EPOCH, False, ["The file has only elapsed times; the start is not known."]
        notes.append("The start was taken from the lines above the table.")
        begun = preamble.start_us
        if zone:
            turned, said = local_to_utc(np.array([begun]), zone_named(zone, source.file_name)[1])
            begun, notes = int(turned[0]), notes + said
        first_us += begun
    elif segment.plan.kind == "time of day":
        if preamble.start_day is None:
            return EPOCH, False, ["The file has times of day without a date."]
        notes.append("The date was taken from the lines above the table.")
    try:
        started_at = EPOCH + timedelta(microseconds=first_us)
    except OverflowError:
        line = min(segment.header.first_row, len(source.lines) - 1)
        raise refusal(
            source.file_name,
            f"The first time is {first_us / 1e6 / 86400 / 365.25:,.0f} years from 1970.",
            "Times must be between the years 1 and 9999. Select the time column.",
            line=line + 1,
            text=source.lines[line],
        ) from None
    if not FIRST_LIKELY_YEAR <= started_at.year <= LAST_LIKELY_YEAR:
        notes.append(
            f"The logger clock shows the year {started_at.year}, which is impossible; only elapsed times are used."
        )
        return started_at, False, notes
    return started_at, True, notes


MOST_SKIPPED_SHOWN = 200
EVENTS_LOOKED_AT = 2000


def assemble_log(
    content: bytes, source: Source, opened: LogLines, segments: list[Segment], notes: list[str]
) -> LogTable:
    """One log from the tables of a file."""
    notes = [*_layout_notes(opened, segments), *opened.notes, *notes, *ignore_place_numbers(source, segments)]
    box, boxes = choose_box(source, opened, segments)
    everything, units, skipped, cells_skipped = _gathered(source, segments, box, notes)
    if not everything.filled().any():
        raise _no_rows(source, segments, skipped, box)
    ordered = in_utc_order(everything, source, segments)
    notes += ordered.notes
    skipped += [_skipped(line, reason, source) for line, reason in list(ordered.left_out.items())[:1000]]
    rows = _without_empty_rows(ordered.rows, source, skipped, notes)
    if not len(rows.us):
        raise _no_rows(source, segments, skipped, box)
    us, levels, merged = merge_equal_times(rows.us, rows.levels)
    if merged and not any(segment.is_long for segment in segments):
        notes.append(f"{merged} rows repeat the time of another row: the mean of their readings is used once.")
    levels = {name: values for name, values in levels.items() if not np.isnan(values).all()}
    interval = _interval(us, levels)
    levels, held, said = leave_out_held(levels, interval)
    notes += said
    started_at, clock_is_known, said = log_start(int(us[0]), source, segments[0], ordered.zone)
    notes += said
    return LogTable(
        file_name=source.file_name,
        sha256=hashlib.sha256(content).hexdigest(),
        encoding=opened.encoding,
        delimiter=DELIMITER_NAMES[opened.delimiter] if opened.sheet is None else "worksheet",
        decimal_mark=segments[0].decimal_mark,
        header_line=segments[0].header.line + 1,
        columns=_all_columns(segments),
        boxes=boxes,
        box=box,
        timezone=ordered.zone,
        started_at=started_at,
        clock_is_known=clock_is_known,
        interval_s=interval,
        elapsed_s=(us - us[0]) / 1e6,
        levels=levels,
        units={name: units[name] for name in levels},
        rows_read=len(everything.us) - len(ordered.left_out),
        rows_skipped=sum(segment.rows_skipped for segment in segments) + len(ordered.left_out),
        skipped=tuple(sorted(skipped, key=lambda skip: skip.line)[:MOST_SKIPPED_SHOWN]),
        held_values=held,
        notes=tuple(dict.fromkeys(notes)),
        zone_needed=ordered.zone_needed,
        zone_assumed=ordered.zone_assumed,
        cells_skipped=cells_skipped,
        day_first=segments[0].times.day_first,
        date_order_unsure=not segments[0].times.order_is_sure,
    )


def _gathered(
    source: Source, segments: list[Segment], box: str | None, notes: list[str]
) -> tuple[Rows, dict[str, str], list[SkippedRow], int]:
    """The rows of the box from all tables, the units of their channels, and skipped rows."""
    skipped = [skip for segment in segments for skip in segment.skipped]
    cells_skipped = 0
    parts: list[Rows] = []
    units: dict[str, str] = {}
    for segment in segments:
        part, mine = rows_of_box(segment, source, box, segments[0], units, notes)
        cells, count = describe_unreadable(segment, mine, source)
        skipped += cells
        cells_skipped += count
        parts.append(part)
    return joined(parts, units), units, skipped, cells_skipped


def _layout_notes(opened: LogLines, segments: list[Segment]) -> list[str]:
    first = segments[0]
    notes = []
    if opened.sheet is None:
        mark = "comma" if first.decimal_mark == "," else "point"
        notes.append(f"Fields are separated by {DELIMITER_NAMES[opened.delimiter]}; the decimal mark is a {mark}.")
    if first.header.line < 0:
        notes.append("The table has no header.")
    for segment in segments:
        notes += segment.notes
    if first.times.day_first is not None and not first.times.order_is_sure:
        order = "day first" if first.times.day_first else "month first"
        notes.append(f"The date order is ambiguous: {order} was assumed.")
    return notes


def _skipped(line: int, reason: str, source: Source) -> SkippedRow:
    return SkippedRow(line, source.lines[line - 1][:200], reason)


def _without_empty_rows(rows: Rows, source: Source, skipped: list[SkippedRow], notes: list[str]) -> Rows:
    """Rows with a reading; event rows without one are listed as skipped."""
    filled = rows.filled()
    if filled.all():
        return rows
    empty = np.flatnonzero(~filled)
    notes.append(f"{len(empty)} rows have a time but no reading.")
    known = {skip.line for skip in skipped}
    for line in rows.line[empty[:EVENTS_LOOKED_AT]]:
        event = re.search(r"[^\W\d_]{4,}[^,;\t|]*", source.lines[line - 1])
        if event and int(line) not in known:
            skipped.append(_skipped(int(line), f"no reading: {quoted(event[0])}", source))
    return rows.take(np.flatnonzero(filled))


def _no_rows(source: Source, segments: list[Segment], skipped: list[SkippedRow], box: str | None) -> UnreadableLog:
    first = skipped[0] if skipped else None
    line = max(segments[0].header.line, 0)
    of_box = f" of box {quoted(box)}" if box is not None else ""
    why = f" (the first row that was skipped: {first.reason})." if first else "."
    return refusal(
        source.file_name,
        f"No row{of_box} has both a time and a reading{why}",
        "Rows with a time and a number are required below the header.",
        line=first.line if first else line + 1,
        text=first.text if first else source.lines[line],
    )


def _interval(us: NDArray[np.int64], levels: dict[str, NDArray[np.float64]]) -> float:
    """Median step between readings of the channel with most readings, particles before others [s]."""
    if len(us) < 2:
        return 0.0
    most = max(levels, key=lambda name: (is_particle_channel(name), int((~np.isnan(levels[name])).sum())))
    there = us[~np.isnan(levels[most])]
    return float(np.median(np.diff(there if len(there) > 1 else us))) / 1e6


def _all_columns(segments: list[Segment]) -> tuple[LogColumn, ...]:
    """One entry per position, header and channel: a later table can use the same position for another channel."""
    listed = {
        (column.position, column.header, column.channel): column
        for segment in segments[::-1]
        for column in segment.columns
    }
    first = [(column.position, column.header, column.channel) for column in segments[0].columns]
    return tuple(listed[key] for key in dict.fromkeys([*first, *listed]))

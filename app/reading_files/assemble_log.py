"""The tables of a file into one log: one box, rising UTC, one row a time, held values left out."""

import hashlib
import re

import numpy as np
from numpy.typing import NDArray

from app.errors import UnreadableLog
from app.reading_files.headers.channels import is_particle_channel
from app.reading_files.log_table import LogColumn, LogTable, SkippedRow
from app.reading_files.refusals import quoted, refusal
from app.reading_files.table.boxes import choose_box
from app.reading_files.table.cells_without_number import describe_unreadable
from app.reading_files.table.held_values import leave_out_held
from app.reading_files.table.joined_rows import Rows, joined, rows_of_box
from app.reading_files.table.log_lines import LogLines
from app.reading_files.table.log_start import log_start
from app.reading_files.table.segment import Segment, Source
from app.reading_files.table.utc_order import in_utc_order
from app.reading_files.text.line_fields import DELIMITER_NAMES
from app.reading_files.time.reading_order import merge_equal_times

MOST_SKIPPED_SHOWN = 200
EVENTS_LOOKED_AT = 2000


def assemble_log(
    content: bytes, source: Source, opened: LogLines, segments: list[Segment], notes: list[str]
) -> LogTable:
    """One log from the tables of a file."""
    notes = [*_layout_notes(opened, segments), *opened.notes, *notes]
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
        notes.append(f"{merged} rows repeat the time of another row: the mean of their readings counts once.")
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
    """The rows of the box from all tables, the units of their channels, and what in them does not count."""
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
        notes.append(f"Fields are parted by {DELIMITER_NAMES[opened.delimiter]}; the decimal mark is a {mark}.")
    if first.header.line < 0:
        notes.append("The table has no header.")
    for segment in segments:
        notes += segment.notes
    if first.times.day_first is not None and not first.times.order_is_sure:
        order = "day first" if first.times.day_first else "month first"
        notes.append(f"Nothing tells whether the day or the month comes first in dates: {order} was assumed.")
    return notes


def _skipped(line: int, reason: str, source: Source) -> SkippedRow:
    return SkippedRow(line, source.lines[line - 1][:200], reason)


def _without_empty_rows(rows: Rows, source: Source, skipped: list[SkippedRow], notes: list[str]) -> Rows:
    """The rows with a reading; of the others, those that tell of an event are listed."""
    filled = rows.filled()
    if filled.all():
        return rows
    empty = np.flatnonzero(~filled)
    notes.append(f"{len(empty)} rows have a time and no reading.")
    known = {skip.line for skip in skipped}
    for line in rows.line[empty[:EVENTS_LOOKED_AT]]:
        event = re.search(r"[^\W\d_]{4,}[^,;\t|]*", source.lines[line - 1])
        if event and int(line) not in known:
            skipped.append(_skipped(int(line), f"no reading: {quoted(event[0])}", source))
    return rows.take(np.flatnonzero(filled))


def _no_rows(source: Source, segments: list[Segment], skipped: list[SkippedRow], box: str | None) -> UnreadableLog:
    first = skipped[0] if skipped else None
    line = max(segments[0].header.line, 0)
    of_box = f" of the box {quoted(box)}" if box is not None else ""
    why = f" (the first row that was skipped: {first.reason})." if first else "."
    return refusal(
        source.file_name,
        f"No row{of_box} has both a time and a reading{why}",
        "Needed are rows with a time and a number below the header.",
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
    """One of each place, header and channel: a later table can read another channel from the same place."""
    listed = {
        (column.position, column.header, column.channel): column
        for segment in segments[::-1]
        for column in segment.columns
    }
    first = [(column.position, column.header, column.channel) for column in segments[0].columns]
    return tuple(listed[key] for key in dict.fromkeys([*first, *listed]))

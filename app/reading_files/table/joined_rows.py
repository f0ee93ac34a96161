"""Joins the rows of one box from all tables of a file."""

import re
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from app.reading_files.log_table import SkippedRow
from app.reading_files.refusals import SeveralBoxes, quoted, where
from app.reading_files.table.log_lines import LogLines
from app.reading_files.table.segment import Segment, Source
from app.reading_files.text.number_text import why_no_number
from app.reading_files.time.zones import zone_named

MOST_BOXES_LISTED = 30


_PLACE_HEADER = re.compile(r"(?:location|site|station)\b.*", re.IGNORECASE)


def ignore_place_numbers(source: Source, segments: list[Segment]) -> list[str]:
    """Ends the division into boxes where one device noted the number of its place; a note says so.

    Several devices in one file log at the same moments; one that is carried from place to place never has two readings
    of one moment. Names of devices, and places in words, are boxes as before.
    """
    with_boxes = [segment for segment in segments if segment.boxes is not None]
    heads = {column.header for segment in with_boxes for column in segment.columns if column.use == "box"}
    names = {box for segment in with_boxes if segment.boxes is not None for box in segment.boxes if box}
    if source.choices.box is not None or len(names) < 2 or not all(map(_PLACE_HEADER.fullmatch, heads)):
        return []
    if "box" in source.choices.columns.values() or not all(name.isdecimal() for name in names):
        return []
    moments = np.concatenate([segment.times.us for segment in with_boxes])
    if len(np.unique(moments)) < len(moments):
        return []
    for segment in with_boxes:
        segment.boxes = None
    head = quoted(min(heads))
    return [f"The column {head} numbers {len(names)} places of one device; all its rows are one log."]


def choose_box(source: Source, opened: LogLines, segments: list[Segment]) -> tuple[str | None, tuple[str, ...]]:
    """The selected box, None if the file has none, and all boxes in order of appearance."""
    if opened.sheets:
        return opened.sheet, opened.sheets
    found = dict.fromkeys(
        box for segment in segments if segment.boxes is not None for box in dict.fromkeys(segment.boxes) if box
    )
    boxes = tuple(found)
    wanted = source.choices.box
    if wanted is None and len(boxes) <= 1:
        return (boxes[0] if boxes else None), boxes
    if wanted in found:
        return wanted, boxes
    line = segments[0].header.line + 1 or None
    place = where(source.file_name, line)
    if not boxes:
        raise SeveralBoxes(
            f"{place}: There is no box column, so box {quoted(wanted or '')} cannot be selected. Leave the box empty.",
            file_name=source.file_name,
            boxes=(),
            line=line,
        )
    listed = ", ".join(quoted(box) for box in boxes[:MOST_BOXES_LISTED])
    more = f" and {len(boxes) - MOST_BOXES_LISTED} more" if len(boxes) > MOST_BOXES_LISTED else ""
    column = next((column.header for column in segments[0].columns if column.use == "box"), "box")
    said = f"There is no box {quoted(wanted)}" if wanted is not None else f"The file has {len(boxes)} boxes"
    raise SeveralBoxes(
        f"{place}: {said} in the column {quoted(column)}: {listed}{more}. Choose one of them as the box.",
        file_name=source.file_name,
        boxes=boxes,
        line=line,
    )


MOST_LISTED = 1000


def describe_unreadable(segment: Segment, rows: NDArray[np.bool_], source: Source) -> tuple[list[SkippedRow], int]:
    """One entry per row for cells without a number, with line, text and reason; and the number of cells.

    rows : rows of the table that belong to the selected box
    """
    headers = {column.channel: column.header for column in segment.columns if column.channel}
    by_row: dict[int, list[tuple[str, str]]] = {}
    for name, cells in segment.unreadable.items():
        for row, text in cells.items():
            if rows[row]:
                by_row.setdefault(row, []).append((name, text))
    described = []
    for row in sorted(by_row)[:MOST_LISTED]:
        name, text = by_row[row][0]
        more = f" (and {len(by_row[row]) - 1} more in this row)" if len(by_row[row]) > 1 else ""
        line = int(segment.line[row])
        reason = f"{quoted(headers.get(name, name))}: {why_no_number(text)}{more}"
        described.append(SkippedRow(line, source.lines[line - 1][:200], reason))
    return described, sum(map(len, by_row.values()))


@dataclass(slots=True)
class Rows:
    """Rows with a time.

    us : microseconds since 1970, or since the start if the table counts from there
    in_utc : rows whose time is known to be UTC
    at_midnight : rows with a date and an unknown time of day
    line : line number in the file
    levels : channel to values
    """

    us: NDArray[np.int64]
    in_utc: NDArray[np.bool_]
    at_midnight: NDArray[np.bool_]
    line: NDArray[np.int64]
    levels: dict[str, NDArray[np.float64]]

    def take(self, rows: NDArray[np.intp] | slice) -> "Rows":
        """These rows in this order."""
        levels = {name: values[rows] for name, values in self.levels.items()}
        return Rows(self.us[rows], self.in_utc[rows], self.at_midnight[rows], self.line[rows], levels)

    def filled(self) -> NDArray[np.bool_]:
        """Whether a row has a value in any channel."""
        filled = np.zeros(len(self.us), dtype=bool)
        for values in self.levels.values():
            filled |= ~np.isnan(values)
            if filled.all():
                break
        return filled


def rows_of_box(
    segment: Segment, source: Source, box: str | None, first: Segment, units: dict[str, str], notes: list[str]
) -> tuple[Rows, NDArray[np.bool_]]:
    """The rows of the box in one table, and their indices.

    units : channel to unit of the tables before; a channel in another unit than before is excluded
    """
    mine = np.ones(len(segment.line), dtype=bool)
    if segment.boxes is not None and box is not None:
        mine = np.asarray(segment.boxes == box, dtype=bool)
    line = segment.header.line + 1
    if segment.plan.counts_from_start != first.plan.counts_from_start:
        notes.append(f"The table from line {line} uses a different time format and was skipped.")
        mine[:] = False
    levels = {}
    for name, values in segment.levels.items():
        if units.setdefault(name, segment.units[name]) == segment.units[name]:
            levels[name] = values
        else:
            notes.append(f"From line {line}, {name} is in {segment.units[name]} and was skipped.")
    us, in_utc = segment.times.us, segment.times.in_utc
    if segment.plan.zone and segment.plan.kind != "epoch":
        _, zone = zone_named(segment.plan.zone, source.file_name)
        distance = (zone.utcoffset(None) or timedelta(0)) // timedelta(microseconds=1)
        us = np.where(in_utc, us, us - distance)
        in_utc = np.ones(len(us), dtype=bool)
    rows = Rows(us, in_utc, segment.times.at_midnight, segment.line, levels)
    return (rows if mine.all() else rows.take(np.flatnonzero(mine))), mine


def joined(parts: list[Rows], units: dict[str, str]) -> Rows:
    """The rows of all parts; a channel missing in a part is not-a-number there."""
    if len(parts) == 1:
        return parts[0]
    levels = {
        name: np.concatenate([part.levels.get(name, np.full(len(part.us), np.nan)) for part in parts]) for name in units
    }
    return Rows(
        np.concatenate([part.us for part in parts]),
        np.concatenate([part.in_utc for part in parts]),
        np.concatenate([part.at_midnight for part in parts]),
        np.concatenate([part.line for part in parts]),
        levels,
    )

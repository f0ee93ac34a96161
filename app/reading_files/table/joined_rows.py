"""The rows of all tables of a file that belong to one box, one after the other."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from app.reading_files.table.segment import Segment, Source
from app.reading_files.time.zones import zone_named


@dataclass(slots=True)
class Rows:
    """Rows with a time.

    us : microseconds since 1970, or since the start where the table counts from there
    in_utc : rows whose time is known to be UTC
    at_midnight : rows with a date whose time of day is lost
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
        """Whether a row holds a value in any channel."""
        filled = np.zeros(len(self.us), dtype=bool)
        for values in self.levels.values():
            filled |= ~np.isnan(values)
        return filled


def rows_of_box(
    segment: Segment, source: Source, box: str | None, first: Segment, units: dict[str, str], notes: list[str]
) -> tuple[Rows, NDArray[np.bool_]]:
    """The rows of one table that belong to the box, and which rows of the table they are.

    units : channel to unit of the tables before; a channel that comes back in another unit is left out
    """
    mine = np.ones(len(segment.line), dtype=bool)
    if segment.boxes is not None and box is not None:
        mine = np.asarray(segment.boxes == box, dtype=bool)
    line = segment.header.line + 1
    if segment.plan.counts_from_start != first.plan.counts_from_start:
        notes.append(f"The table from line {line} on counts time in another way and was left out.")
        mine[:] = False
    levels = {}
    for name, values in segment.levels.items():
        if units.setdefault(name, segment.units[name]) == segment.units[name]:
            levels[name] = values
        else:
            notes.append(f"From line {line} on, {name} is in {segment.units[name]} and was left out.")
    us, in_utc = segment.times.us, segment.times.in_utc
    if segment.plan.zone and segment.plan.kind != "epoch":
        _, zone = zone_named(segment.plan.zone, source.file_name)
        distance = (zone.utcoffset(None) or timedelta(0)) // timedelta(microseconds=1)
        us = np.where(in_utc, us, us - distance)
        in_utc = np.ones(len(us), dtype=bool)
    rows = Rows(us, in_utc, segment.times.at_midnight, segment.line, levels)
    return (rows if mine.all() else rows.take(np.flatnonzero(mine))), mine


def joined(parts: list[Rows], units: dict[str, str]) -> Rows:
    """The rows of all parts; a channel that a part lacks is not-a-number there."""
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

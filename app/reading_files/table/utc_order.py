"""Rows into rising UTC, with an account of the rows that could not be placed."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from app.reading_files.table.joined_rows import Rows
from app.reading_files.table.segment import Segment, Source
from app.reading_files.text.time_text import DAY_US
from app.reading_files.time.reading_order import is_newest_first, rising_order
from app.reading_files.time.row_times import resolve_midnights
from app.reading_files.time.zones import local_to_utc, zone_named

LONGEST_GAP_US = 300 * DAY_US


@dataclass(slots=True)
class UtcOrder:
    """Rows in rising UTC.

    left_out : line to reason, for rows that could not be placed
    zone : zone used; "" where none is known
    zone_needed : True where times are local and no zone is known; zone_assumed : the zone is the assumed one
    """

    rows: Rows
    zone: str = ""
    zone_needed: bool = False
    zone_assumed: bool = False
    left_out: dict[int, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def in_utc_order(rows: Rows, source: Source, segments: list[Segment]) -> UtcOrder:
    """The rows in rising UTC; rows of equal time stay beside each other."""
    ordered = UtcOrder(rows)
    if is_newest_first(rows.us):
        ordered.rows = rows.take(slice(None, None, -1))
        ordered.notes.append("The newest row stands first: the order was turned round.")
    _place_midnights(ordered)
    _leave_out(ordered, _far_away(ordered.rows.us), "the clock is far from that of the other rows")
    us = _to_utc(ordered, source, segments)
    ordered.rows = replace(ordered.rows, us=us)
    if any(segment.is_long for segment in segments):  # one row for each quantity: blocks may follow each other
        ordered.rows = ordered.rows.take(np.argsort(us, kind="stable"))
        return ordered
    order = rising_order(us)
    ordered.notes += order.notes
    for line in ordered.rows.line[order.left_out]:
        ordered.left_out[int(line)] = "goes back into a time logged before"
    if len(order.rows) < len(us) or (order.rows[1:] < order.rows[:-1]).any():
        ordered.rows = ordered.rows.take(order.rows)
    return ordered


def _leave_out(ordered: UtcOrder, which: NDArray[np.bool_], reason: str) -> None:
    if which.any():
        ordered.left_out.update((int(line), reason) for line in ordered.rows.line[which])
        ordered.rows = ordered.rows.take(np.flatnonzero(~which))


def _place_midnights(ordered: UtcOrder) -> None:
    rows = ordered.rows
    if not rows.at_midnight.any():
        return
    fits = resolve_midnights(rows.us, rows.at_midnight)
    if fits.any():
        number = int(fits.sum())
        said = "One row has a date without a time" if number == 1 else f"{number} rows have a date without a time"
        ordered.notes.append(f"{said}: midnight, by the rows around it.")
    _leave_out(ordered, rows.at_midnight & ~fits, "the date stands without a time of day")


def _far_away(us: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Rows parted from most others by most of a year: a clock that was not set yet, or a damaged date."""
    none = np.zeros(len(us), dtype=bool)
    if len(us) < 3 or int(us.max()) - int(us.min()) <= LONGEST_GAP_US:
        return none
    ranked = np.sort(us)
    edges = np.flatnonzero(np.diff(ranked) > LONGEST_GAP_US) + 1
    starts = np.concatenate(([0], edges))
    stops = np.concatenate((edges, [len(ranked)]))
    largest = int(np.argmax(stops - starts))
    if stops[largest] - starts[largest] <= len(us) / 2:
        return none
    return (us < ranked[starts[largest]]) | (us > ranked[stops[largest] - 1])


def _to_utc(ordered: UtcOrder, source: Source, segments: list[Segment]) -> NDArray[np.int64]:
    """UTC of the rows; sets the zone, and whether one is needed."""
    rows, plan, preamble = ordered.rows, segments[0].plan, source.preamble
    named = source.choices.timezone or preamble.zone
    wanted = named or source.choices.assumed_timezone
    if plan.counts_from_start or (plan.kind == "time of day" and preamble.start_day is None):
        if wanted and plan.counts_from_start and preamble.start_us is not None:
            ordered.zone, ordered.zone_assumed = zone_named(wanted, source.file_name)[0], not named
        ordered.zone_needed = plan.counts_from_start and preamble.start_us is not None and not wanted
    elif rows.in_utc.all():
        ordered.zone = plan.zone or "UTC"
    elif not wanted:
        ordered.zone_needed = True
    else:
        ordered.zone, zone = zone_named(wanted, source.file_name)
        ordered.zone_assumed = not named
        us = rows.us.copy()
        local = ~rows.in_utc
        us[local], said = local_to_utc(us[local], zone)
        ordered.notes += said
        return _said(ordered, source, us)
    return _said(ordered, source, rows.us)


def _said(ordered: UtcOrder, source: Source, us: NDArray[np.int64]) -> NDArray[np.int64]:
    if ordered.zone_needed:
        ordered.notes.append("The times are local and no zone is given: they were read as UTC until a zone is chosen.")
    elif ordered.zone and not source.choices.timezone and source.preamble.zone:
        ordered.notes.append(f"The lines above the table give the zone {ordered.zone}.")
    return us

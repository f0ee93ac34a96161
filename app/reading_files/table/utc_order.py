"""Sorts rows into rising UTC, and lists the rows that could not be placed."""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from app.reading_files.table.joined_rows import Rows
from app.reading_files.table.segment import Segment, Source
from app.reading_files.text.time_text import DAY_US
from app.reading_files.time.row_times import resolve_midnights
from app.reading_files.time.zones import local_to_utc, zone_named

LONGEST_GAP_US = 300 * DAY_US


@dataclass(slots=True)
class UtcOrder:
    """Rows in rising UTC.

    left_out : line to reason, for rows without a valid place
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
        ordered.notes.append("The newest row is first: the order was reversed.")
    _place_midnights(ordered)
    _leave_out(ordered, _far_away(ordered.rows.us), "time far from that of the other rows")
    us = _to_utc(ordered, source, segments)
    ordered.rows = replace(ordered.rows, us=us)
    if any(segment.is_long for segment in segments):  # one row per quantity: blocks may follow each other
        ordered.rows = ordered.rows.take(np.argsort(us, kind="stable"))
        return ordered
    order = rising_order(us)
    ordered.notes += order.notes
    for line in ordered.rows.line[order.left_out]:
        ordered.left_out[int(line)] = "goes back to a time already logged"
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
        ordered.notes.append(f"{said}: midnight, according to the rows around it.")
    _leave_out(ordered, rows.at_midnight & ~fits, "date without a time of day")


def _far_away(us: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Rows more than most of a year from most others: an unset clock, or a damaged date."""
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
    far: NDArray[np.bool_] = (us < ranked[starts[largest]]) | (us > ranked[stops[largest] - 1])
    return far


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
        ordered.notes.append("The times are local without a time zone: they are read as UTC until a zone is chosen.")
    elif ordered.zone and not source.choices.timezone and source.preamble.zone:
        ordered.notes.append(f"The lines above the table give the zone {ordered.zone}.")
    return us


SMALL_STEP_BACK_S = 60.0
MOST_STRETCHES = 50


@dataclass(frozen=True, slots=True)
class RisingOrder:
    """Which rows to use, in which order.

    rows : indices of rows in rising time, equal times beside each other
    left_out : rows that overlap earlier ones after the clock was set back
    notes : sentences on what was found
    """

    rows: NDArray[np.intp]
    left_out: NDArray[np.intp]
    notes: tuple[str, ...]


def is_newest_first(times_us: NDArray[np.int64]) -> bool:
    """Whether most steps go back in time."""
    steps = np.diff(times_us)
    return bool((steps < 0).sum() > (steps > 0).sum())


def rising_order(times_us: NDArray[np.int64]) -> RisingOrder:
    """Rows in rising order of time.

    After a small step back (at most a minute, or five intervals: a corrected clock) the rows are swapped.
    Sections that do not overlap are sorted. If a section overlaps earlier rows, the clock
    was set back by more: its rows up to the latest earlier time are excluded, since it is unknown which
    reading was right at that time.
    """
    count = len(times_us)
    back = np.flatnonzero(np.diff(times_us) < 0)
    everything = np.arange(count)
    if not len(back):
        return RisingOrder(everything, everything[:0], ())
    steps = np.diff(times_us)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    small = max(SMALL_STEP_BACK_S * 1e6, 5 * usual)
    largest = float(-steps[back].min())
    notes: list[str] = []
    if largest <= small:
        notes.append(f"{_steps(len(back))} back in time by at most {largest / 1e6:g} s: rows were sorted.")
        return RisingOrder(np.argsort(times_us, kind="stable"), everything[:0], tuple(notes))
    keep = np.ones(count, dtype=bool)
    edges = np.concatenate(([0], back + 1, [count]))
    taken: list[tuple[int, int]] = []
    for start, stop in pairwise(edges):
        low, high = int(times_us[start]), int(times_us[stop - 1])
        latest = max((other for first, other in taken if first <= high), default=None)
        if latest is not None and latest >= low and (latest - low > small or len(edges) > MOST_STRETCHES):
            keep[start:stop] = times_us[start:stop] > latest
        if keep[start:stop].any():
            kept = times_us[start:stop][keep[start:stop]]
            taken.append((int(kept[0]), int(kept[-1])))
    rows = everything[keep]
    left_out = everything[~keep]
    notes.append(f"{_steps(len(back))} back in time, the largest by {largest / 1e6:g} s.")
    if len(left_out):
        notes.append(f"{len(left_out)} rows repeat a time already logged and were skipped.")
    return RisingOrder(rows[np.argsort(times_us[rows], kind="stable")], left_out, tuple(notes))


def _steps(number: int) -> str:
    return "One step goes" if number == 1 else f"{number} steps go"


def merge_equal_times(
    times_us: NDArray[np.int64], levels: dict[str, NDArray[np.float64]]
) -> tuple[NDArray[np.int64], dict[str, NDArray[np.float64]], int]:
    """One row per time, with the mean of its readings; and the number of merged rows."""
    first = np.concatenate(([True], np.diff(times_us) != 0))
    extra = int(len(times_us) - first.sum())
    if not extra:
        return times_us, levels, 0
    group = np.cumsum(first) - 1
    groups = int(group[-1]) + 1
    merged = {}
    for name, values in levels.items():
        there = ~np.isnan(values)
        number = np.bincount(group, weights=there, minlength=groups)
        total = np.bincount(group, weights=np.where(there, values, 0.0), minlength=groups)
        merged[name] = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    return times_us[first], merged, extra

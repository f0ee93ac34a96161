"""The tables of a file into one log: one box, UTC, rising times, one row a time, held values left out."""

import hashlib
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from app.reading_files.channels import is_particle_channel, split_detector
from app.reading_files.held_values import find_held
from app.reading_files.line_fields import DELIMITER_NAMES
from app.reading_files.log_lines import LogLines
from app.reading_files.log_table import LogColumn, LogTable, SkippedRow
from app.reading_files.reading_order import is_newest_first, merge_equal_times, rising_order
from app.reading_files.refusals import SeveralBoxes, quoted, refusal, where
from app.reading_files.row_times import settle_midnights
from app.reading_files.table_segment import Segment, Source, describe_unreadable
from app.reading_files.time_text import DAY_US
from app.reading_files.time_zones import local_to_utc, zone_named

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FIRST_LIKELY_YEAR, LAST_LIKELY_YEAR = 2000, 2099
LONGEST_GAP_US = 300 * DAY_US
MOST_SKIPPED_SHOWN = 200
MOST_BOXES_LISTED = 30


@dataclass(slots=True)
class _Rows:
    """The rows of all tables, one after the other."""

    us: NDArray[np.int64]
    in_utc: NDArray[np.bool_]
    at_midnight: NDArray[np.bool_]
    line: NDArray[np.int64]
    levels: dict[str, NDArray[np.float64]]

    def take(self, rows: NDArray[np.intp] | slice) -> "_Rows":
        levels = {name: values[rows] for name, values in self.levels.items()}
        return _Rows(self.us[rows], self.in_utc[rows], self.at_midnight[rows], self.line[rows], levels)


def to_log_table(
    content: bytes, source: Source, opened: LogLines, segments: list[Segment], notes: list[str]
) -> LogTable:
    """One log from the tables of a file."""
    notes = [*_layout_notes(opened, segments), *opened.notes, *notes]
    box, boxes = _choose_box(source, opened, segments)
    skipped = [skip for segment in segments for skip in segment.skipped]
    rows_skipped = sum(segment.rows_skipped for segment in segments)
    cells_skipped = 0
    parts, units = [], {}
    for segment in segments:
        part, mine = _part(segment, source, box, segments[0], units, notes)
        cells, count = describe_unreadable(segment, mine, source)
        skipped += cells
        cells_skipped += count
        parts.append(part)
    rows = _joined(parts, units)
    rows_read = len(rows.us)
    if not rows_read:
        raise _no_rows(source, segments, skipped)
    rows, left_out, zone, zone_needed = _in_utc_order(rows, source, segments, notes)
    skipped += _left_out_rows(left_out, source)
    rows_skipped += len(left_out)
    rows_read -= len(left_out)
    filled = np.zeros(len(rows.us), dtype=bool)
    for values in rows.levels.values():
        filled |= ~np.isnan(values)
    if not filled.any():
        raise _no_rows(source, segments, skipped)
    if not filled.all():
        notes.append(f"{int((~filled).sum())} rows have a time and no reading.")
        rows = rows.take(np.flatnonzero(filled))
    us, levels, merged = merge_equal_times(rows.us, rows.levels)
    if merged and not any(segment.is_long for segment in segments):
        notes.append(f"{merged} rows repeat the time of another row: the mean of their readings counts once.")
    levels = {name: values for name, values in levels.items() if not np.isnan(values).all()}
    interval = _interval(us, levels)
    held = _leave_out_held(levels, interval, notes)
    started_at, clock_is_known = _start(us, source, segments, notes)
    first = segments[0]
    return LogTable(
        file_name=source.file_name,
        sha256=hashlib.sha256(content).hexdigest(),
        encoding=opened.encoding,
        delimiter=DELIMITER_NAMES[opened.delimiter] if opened.sheet is None else "worksheet",
        decimal_mark=first.decimal_mark,
        header_line=first.header.line + 1,
        columns=_all_columns(segments),
        boxes=boxes,
        box=box,
        timezone=zone,
        started_at=started_at,
        clock_is_known=clock_is_known,
        interval_s=interval,
        elapsed_s=(us - us[0]) / 1e6,
        levels=levels,
        units={name: units[name] for name in levels},
        rows_read=rows_read,
        rows_skipped=rows_skipped,
        skipped=tuple(sorted(skipped, key=lambda skip: skip.line)[:MOST_SKIPPED_SHOWN]),
        held_values=held,
        notes=tuple(dict.fromkeys(notes)),
        zone_needed=zone_needed,
        cells_skipped=cells_skipped,
        day_first=first.times.day_first,
        date_order_unsure=not first.times.order_is_sure,
    )


def _layout_notes(opened: LogLines, segments: list[Segment]) -> list[str]:
    first = segments[0]
    notes = []
    if opened.sheet is None:
        mark = "comma" if first.decimal_mark == "," else "point"
        notes.append(f"Fields are parted by {DELIMITER_NAMES[opened.delimiter]}; the decimal mark is a {mark}.")
    if first.header.line < 0:
        notes.append("The table has no header.")
    for segment in segments:
        notes += segment.plan.notes
        notes += segment.times.notes
    if first.times.day_first is not None and not first.times.order_is_sure:
        order = "day first" if first.times.day_first else "month first"
        notes.append(f"Nothing tells whether the day or the month comes first in dates: {order} was assumed.")
    return notes


def _choose_box(source: Source, opened: LogLines, segments: list[Segment]) -> tuple[str | None, tuple[str, ...]]:
    if opened.sheets:
        return opened.sheet, opened.sheets
    found = dict.fromkeys(
        box for segment in segments if segment.boxes is not None for box in dict.fromkeys(segment.boxes) if box
    )
    boxes = tuple(found)
    wanted = source.choices.box
    if not boxes:
        return None, ()
    if wanted is None and len(boxes) == 1:
        return boxes[0], boxes
    if wanted in found:
        return wanted, boxes
    listed = ", ".join(quoted(box) for box in boxes[:MOST_BOXES_LISTED])
    more = f" and {len(boxes) - MOST_BOXES_LISTED} more" if len(boxes) > MOST_BOXES_LISTED else ""
    columns = [column.header for column in segments[0].columns if column.use == "box"]
    place = where(source.file_name, segments[0].header.line + 1 or None)
    said = f"There is no box {quoted(wanted)}" if wanted is not None else f"The file holds {len(boxes)} boxes"
    raise SeveralBoxes(
        f"{place}: {said} in the column {quoted(columns[0] if columns else 'box')}: {listed}{more}. "
        "Choose one of them as the box.",
        file_name=source.file_name,
        boxes=boxes,
        line=segments[0].header.line + 1 or None,
    )


def _part(
    segment: Segment, source: Source, box: str | None, first: Segment, units: dict[str, str], notes: list[str]
) -> tuple[_Rows, NDArray[np.bool_]]:
    """The rows of one table that belong to the box, and which rows of the table they are."""
    mine = np.ones(len(segment.line), dtype=bool)
    if segment.boxes is not None and box is not None:
        mine = segment.boxes == box
    if (segment.plan.kind in ("elapsed", "duration", "rows")) != (first.plan.kind in ("elapsed", "duration", "rows")):
        notes.append(f"The table from line {segment.header.line + 1} on counts time in another way and was left out.")
        mine[:] = False
    levels = {}
    for name, values in segment.levels.items():
        if units.setdefault(name, segment.units[name]) != segment.units[name]:
            notes.append(
                f"From line {segment.header.line + 1} on, {name} is in {segment.units[name]} and was left out."
            )
        else:
            levels[name] = values
    us, in_utc = segment.times.us, segment.times.in_utc
    if segment.plan.zone and segment.plan.kind != "epoch":
        _, zone = zone_named(segment.plan.zone, source.file_name)
        distance = zone.utcoffset(None) or timedelta(0)
        us = np.where(in_utc, us, us - distance // timedelta(microseconds=1))
        in_utc = np.ones(len(us), dtype=bool)
    rows = _Rows(us, in_utc, segment.times.at_midnight, segment.line, levels)
    return (rows if mine.all() else rows.take(np.flatnonzero(mine))), mine


def _joined(parts: list[_Rows], units: dict[str, str]) -> _Rows:
    if len(parts) == 1:
        return parts[0]
    levels = {
        name: np.concatenate([part.levels.get(name, np.full(len(part.us), np.nan)) for part in parts]) for name in units
    }
    return _Rows(
        np.concatenate([part.us for part in parts]),
        np.concatenate([part.in_utc for part in parts]),
        np.concatenate([part.at_midnight for part in parts]),
        np.concatenate([part.line for part in parts]),
        levels,
    )


def _no_rows(source: Source, segments: list[Segment], skipped: list[SkippedRow]) -> Exception:
    first = skipped[0] if skipped else None
    header = segments[0].header
    return refusal(
        source.file_name,
        "No row has both a time and a reading"
        + (f" (the first row that was skipped: {first.reason})." if first else "."),
        "Needed are rows with a time and a number below the header.",
        line=first.line if first else max(header.line, 0) + 1,
        text=first.text if first else source.lines[max(header.line, 0)],
    )


@dataclass(slots=True)
class _LeftOut:
    line: int
    reason: str


def _in_utc_order(
    rows: _Rows, source: Source, segments: list[Segment], notes: list[str]
) -> tuple[_Rows, list[_LeftOut], str, bool]:
    """Rows in rising UTC; what was left out on the way; the zone used, and whether one is needed."""
    left_out: list[_LeftOut] = []
    if is_newest_first(rows.us):
        rows = rows.take(slice(None, None, -1))
        notes.append("The newest row stands first: the order was turned round.")
    if rows.at_midnight.any():
        fits = settle_midnights(rows.us, rows.at_midnight)
        lost = rows.at_midnight & ~fits
        left_out += [_LeftOut(int(line), "the date stands without a time of day") for line in rows.line[lost]]
        if fits.any():
            notes.append(f"{int(fits.sum())} rows have a date without a time, at midnight by the rows around them.")
        rows = rows.take(np.flatnonzero(~lost))
    far = _far_away(rows.us)
    if far.any():
        left_out += [_LeftOut(int(line), "the clock is far from that of the other rows") for line in rows.line[far]]
        rows = rows.take(np.flatnonzero(~far))
    us, zone, zone_needed = _to_utc(rows, source, segments, notes)
    order = rising_order(us)
    notes += order.notes
    left_out += [_LeftOut(int(line), "goes back into a time logged before") for line in rows.line[order.left_out]]
    rows = replace(rows, us=us)
    in_order = len(order.rows) == len(us) and bool((order.rows[1:] > order.rows[:-1]).all())
    return (rows if in_order else rows.take(order.rows)), left_out, zone, zone_needed


def _far_away(us: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Rows parted from most others by most of a year: a clock that was not set yet, or a damaged date."""
    if len(us) < 3 or int(us.max()) - int(us.min()) <= LONGEST_GAP_US:
        return np.zeros(len(us), dtype=bool)
    ranked = np.sort(us)
    edges = np.flatnonzero(np.diff(ranked) > LONGEST_GAP_US) + 1
    starts = np.concatenate(([0], edges))
    stops = np.concatenate((edges, [len(ranked)]))
    largest = int(np.argmax(stops - starts))
    if stops[largest] - starts[largest] <= len(us) / 2:
        return np.zeros(len(us), dtype=bool)
    return (us < ranked[starts[largest]]) | (us > ranked[stops[largest] - 1])


def _to_utc(
    rows: _Rows, source: Source, segments: list[Segment], notes: list[str]
) -> tuple[NDArray[np.int64], str, bool]:
    local = ~rows.in_utc
    if not local.any():
        zone = segments[0].plan.zone or "UTC"
        return rows.us, zone, False
    wanted = source.choices.timezone or source.preamble.zone
    if not wanted:
        if segments[0].plan.kind in ("elapsed", "duration", "rows", "time of day") and source.preamble.start_us is None:
            return rows.us, "", False
        notes.append("The times are local and no zone is given: they were read as UTC until a zone is chosen.")
        return rows.us, "", True
    name, zone = zone_named(wanted, source.file_name)
    us = rows.us.copy()
    start = source.preamble.start_us if segments[0].plan.kind in ("elapsed", "duration", "rows") else None
    if start is not None:
        begun, said = local_to_utc(np.array([start]), zone)
        source.preamble.start_us = int(begun[0])
    elif segments[0].plan.kind in ("elapsed", "duration", "rows"):
        return rows.us, "", False
    else:
        shift = (source.preamble.start_day or 0) * DAY_US if segments[0].plan.kind == "time of day" else 0
        turned, said = local_to_utc(us[local] + shift, zone)
        us[local] = turned - shift
    notes += said
    if not source.choices.timezone:
        notes.append(f"The lines above the table give the zone {name}.")
    return us, name, False


def _left_out_rows(left_out: list[_LeftOut], source: Source) -> list[SkippedRow]:
    return [SkippedRow(row.line, source.lines[row.line - 1][:200], row.reason) for row in left_out[:1000]]


def _interval(us: NDArray[np.int64], levels: dict[str, NDArray[np.float64]]) -> float:
    """Median step between readings of the channel with most readings, particles before others [s]."""
    if len(us) < 2:
        return 0.0
    most = max(levels, key=lambda name: (is_particle_channel(name), int((~np.isnan(levels[name])).sum())))
    there = us[~np.isnan(levels[most])]
    return float(np.median(np.diff(there if len(there) > 1 else us))) / 1e6


def _leave_out_held(levels: dict[str, NDArray[np.float64]], interval: float, notes: list[str]) -> dict[str, int]:
    """Sets held values to not-a-number, sensor by sensor, and counts them."""
    sensors: dict[str, list[str]] = {}
    for name in levels:
        base, letter = split_detector(name)
        if base.startswith("pm"):
            sensors.setdefault(f"mass{letter}", []).append(name)
        elif base.startswith("count_"):
            sensors.setdefault(f"number{letter}", []).append(name)
        elif base in ("voc", "co2"):
            sensors.setdefault(name, []).append(name)
    counts: dict[str, int] = {}
    for names in sensors.values():
        there = np.zeros(len(levels[names[0]]), dtype=bool)
        for name in names:
            there |= ~np.isnan(levels[name])
        rows = np.flatnonzero(there)
        if not len(rows):
            continue
        held = find_held([levels[name][rows] for name in names])
        if held is None:
            continue
        for name in names:
            before = ~np.isnan(levels[name][rows])
            counts[name] = int((before & ~held.true_rows & ~held.settling_rows).sum())
            values = levels[name].copy()
            values[rows[~held.true_rows]] = np.nan
            levels[name] = values
        settling = int(held.settling_rows.sum())
        more = f", and {settling} values while the sensor settled" if settling else ""
        notes.append(
            f"The logger repeats its last value of {', '.join(names)}: a true reading comes about every "
            f"{held.period_rows * interval / 60:.3g} min. {counts[names[0]]} held values were left out{more}; "
            f"{int(held.true_rows.sum())} readings remain."
        )
    return counts


def _start(us: NDArray[np.int64], source: Source, segments: list[Segment], notes: list[str]) -> tuple[datetime, bool]:
    kind = segments[0].plan.kind
    first = int(us[0])
    if kind in ("elapsed", "duration", "rows"):
        if source.preamble.start_us is None:
            notes.append("The file gives elapsed time only; when it began is not known.")
            return EPOCH, False
        notes.append("The start was taken from the lines above the table.")
        first += source.preamble.start_us
    elif kind == "time of day":
        if source.preamble.start_day is None:
            notes.append("The file gives the time of day without a date.")
            return EPOCH, False
        notes.append("The date was taken from the lines above the table.")
        first += source.preamble.start_day * DAY_US
    try:
        started_at = EPOCH + timedelta(microseconds=first)
    except OverflowError:
        raise refusal(
            source.file_name,
            f"The first time lies {first / 1e6 / 86400 / 365.25:.0f} years from 1970.",
            "A time between the years 1 and 9999 is needed: say which column holds the time.",
            line=segments[0].header.first_row + 1,
            text=source.lines[min(segments[0].header.first_row, len(source.lines) - 1)],
        ) from None
    if not FIRST_LIKELY_YEAR <= started_at.year <= LAST_LIKELY_YEAR:
        notes.append(f"The logger's clock says the year {started_at.year}, which cannot be: only elapsed times count.")
        return started_at, False
    return started_at, True


def _all_columns(segments: list[Segment]) -> tuple[LogColumn, ...]:
    seen = {(column.position, column.header) for column in segments[0].columns}
    columns = list(segments[0].columns)
    for segment in segments[1:]:
        for column in segment.columns:
            if (column.position, column.header) not in seen:
                seen.add((column.position, column.header))
                columns.append(column)
    return tuple(columns)

"""When a log began, and whether that can be believed."""

from datetime import UTC, datetime, timedelta

import numpy as np

from app.reading_files.refusals import refusal
from app.reading_files.table.segment import Segment, Source
from app.reading_files.time.zones import local_to_utc, zone_named

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FIRST_LIKELY_YEAR, LAST_LIKELY_YEAR = 2000, 2099


def log_start(first_us: int, source: Source, segment: Segment, zone: str) -> tuple[datetime, bool, list[str]]:
    """Time of the first reading in UTC, whether the clock is known, and what is to be said about it."""
    preamble, notes = source.preamble, []
    if segment.plan.counts_from_start:
        if preamble.start_us is None:
            return EPOCH, False, ["The file gives elapsed time only; when it began is not known."]
        notes.append("The start was taken from the lines above the table.")
        begun = preamble.start_us
        if zone:
            turned, said = local_to_utc(np.array([begun]), zone_named(zone, source.file_name)[1])
            begun, notes = int(turned[0]), notes + said
        first_us += begun
    elif segment.plan.kind == "time of day":
        if preamble.start_day is None:
            return EPOCH, False, ["The file gives the time of day without a date."]
        notes.append("The date was taken from the lines above the table.")
    try:
        started_at = EPOCH + timedelta(microseconds=first_us)
    except OverflowError:
        line = min(segment.header.first_row, len(source.lines) - 1)
        raise refusal(
            source.file_name,
            f"The first time lies {first_us / 1e6 / 86400 / 365.25:,.0f} years from 1970.",
            "A time between the years 1 and 9999 is needed: say which column holds the time.",
            line=line + 1,
            text=source.lines[line],
        ) from None
    if not FIRST_LIKELY_YEAR <= started_at.year <= LAST_LIKELY_YEAR:
        notes.append(f"The logger's clock says the year {started_at.year}, which cannot be: only elapsed times count.")
        return started_at, False, notes
    return started_at, True, notes

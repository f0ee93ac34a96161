"""Converts local times to UTC, including changes to and from daylight saving time."""

import re
from datetime import datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from app.reading_files.refusals import quoted, refusal

HOUR_US = 3_600_000_000
QUARTER_US = HOUR_US // 4  # no zone changes within a quarter of an hour
SMALL_STEP_BACK_US = 60_000_000  # a corrected clock, not a change of daylight saving time
FIRST_MOMENT = datetime(1, 1, 3)  # noqa: DTZ001 - a wall clock, its zone is what is looked for
LAST_MOMENT = datetime(9999, 12, 29)  # noqa: DTZ001
EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001

_FIXED = re.compile(r"(?:utc|gmt)?\s*([+-])\s?(\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)


def zone_named(text: str, file_name: str = "") -> tuple[str, tzinfo]:
    """The named zone: an IANA name, UTC, or a fixed offset such as UTC+02:00.

    >>> zone_named("utc-5")[0], zone_named("Europe/Berlin")[0]
    ('UTC-05:00', 'Europe/Berlin')
    """
    plain = text.strip()
    if plain.lower() in ("utc", "gmt", "z"):
        return "UTC", timezone.utc  # noqa: UP017 - `UTC` would hide the name of the module's subject
    fixed = _FIXED.fullmatch(plain)
    if fixed:
        minutes = int(fixed[2]) * 60 + int(fixed[3] or 0)
        if minutes <= 14 * 60:
            signed = -minutes if fixed[1] == "-" else minutes
            return f"UTC{fixed[1]}{minutes // 60:02d}:{minutes % 60:02d}", timezone(timedelta(minutes=signed))
    else:
        try:
            return plain, ZoneInfo(plain)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            pass
    raise refusal(
        file_name,
        f"The time zone {quoted(text)} is not known.",
        "Use a name such as Europe/Berlin or America/New_York, or an offset such as UTC+01:00.",
    )


def local_to_utc(local_us: NDArray[np.int64], zone: tzinfo) -> tuple[NDArray[np.int64], list[str]]:
    """UTC of wall-clock times in the order in which they were logged [µs since 1970].

    A repeated hour is resolved by the order: after a step back of the clock it is the second one; without
    a step back, the one that fits the rows before and after. A skipped time is converted as if the
    clock had not changed.
    """
    quarters, inverse = np.unique(local_us // QUARTER_US, return_inverse=True)
    first, second = _offsets(quarters, zone)
    early, late = local_us - first[inverse], local_us - second[inverse]
    twice = (first > second)[inverse]
    never = (first < second)[inverse]
    utc = early.copy()
    notes = []
    if twice.any():
        notes.append(_resolve_twice(utc, late, local_us, twice))
    if never.any():
        notes.append(
            f"{int(never.sum())} times do not exist in this zone because the clocks went forward: they were read as "
            "if the logger's clock had not been changed."
        )
    return utc, notes


def _offsets(quarters: NDArray[np.int64], zone: tzinfo) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Offsets from UTC for each quarter of an hour of local time, first and second occurrence [µs]."""
    first = np.empty(len(quarters), dtype=np.int64)
    second = np.empty(len(quarters), dtype=np.int64)
    low, high = (FIRST_MOMENT - EPOCH) // timedelta(microseconds=1), (LAST_MOMENT - EPOCH) // timedelta(microseconds=1)
    for index, quarter in enumerate(quarters):
        moment = EPOCH + timedelta(microseconds=int(np.clip(quarter * QUARTER_US, low, high)))
        for fold, into in ((0, first), (1, second)):
            offset = moment.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0)
            into[index] = offset // timedelta(microseconds=1)
    return first, second


def _resolve_twice(
    utc: NDArray[np.int64], late: NDArray[np.int64], local_us: NDArray[np.int64], twice: NDArray[np.bool_]
) -> str:
    """Decides for each run of ambiguous times; modifies `utc` in place."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], twice, [False])).astype(np.int8)))
    steps = np.abs(np.diff(local_us))
    usual = int(np.median(steps[steps > 0])) if (steps > 0).any() else 0
    unsure = 0
    for start, stop in zip(edges[0::2], edges[1::2], strict=True):
        inside = np.diff(local_us[start:stop])
        shift = int(late[start] - utc[start])
        back = np.flatnonzero((inside < -SMALL_STEP_BACK_US) | (np.abs(inside + shift - usual) < 1_000_000))
        if len(back):
            utc[start + back[0] + 1 : stop] = late[start + back[0] + 1 : stop]
            continue
        cost_early = cost_late = 0
        if start > 0:
            cost_early += abs(int(utc[start] - utc[start - 1]) - usual)
            cost_late += abs(int(late[start] - utc[start - 1]) - usual)
        if stop < len(utc):
            cost_early += abs(int(utc[stop] - utc[stop - 1]) - usual)
            cost_late += abs(int(utc[stop] - late[stop - 1]) - usual)
        unsure += cost_early == cost_late
        if cost_late < cost_early:
            utc[start:stop] = late[start:stop]
    said = (
        f"{int(twice.sum())} times are in an hour that occurs twice because the clocks went back: resolved by their "
        "order."
    )
    return said + (" Where the order was ambiguous, the first hour was assumed." if unsure else "")

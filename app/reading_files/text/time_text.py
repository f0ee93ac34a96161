"""Dates and times as text into whole microseconds, many cells at once."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.reading_files.text.digit_columns import Cells, DigitGroup, as_bytes, number_spans, rows_by_shape

MONTHS = {
    **dict.fromkeys(("jan", "january", "januar", "janvier", "janv", "enero", "ene", "gennaio", "januari"), 1),
    **dict.fromkeys(("feb", "february", "februar", "fevrier", "fevr", "fev", "febrero", "februari"), 2),
    **dict.fromkeys(("mar", "march", "marz", "mars", "marzo", "maart", "mrz", "mrt", "marts"), 3),
    **dict.fromkeys(("apr", "april", "avril", "avr", "abril", "abr", "aprile"), 4),
    **dict.fromkeys(("may", "mai", "mayo", "maggio", "mei", "maj"), 5),
    **dict.fromkeys(("jun", "june", "juni", "juin", "junio", "giugno"), 6),
    **dict.fromkeys(("jul", "july", "juli", "juil", "juillet", "julio", "luglio"), 7),
    **dict.fromkeys(("aug", "august", "aout", "agosto", "ago", "augustus"), 8),
    **dict.fromkeys(("sep", "sept", "september", "septembre", "septiembre", "settembre"), 9),
    **dict.fromkeys(("oct", "october", "oktober", "okt", "octobre", "octubre", "ottobre"), 10),
    **dict.fromkeys(("nov", "november", "novembre", "noviembre"), 11),
    **dict.fromkeys(("dec", "december", "dezember", "dez", "decembre", "diciembre", "dic", "dicembre"), 12),
}
ZONE_HOURS = {
    **{"z": 0.0, "utc": 0.0, "gmt": 0.0, "cet": 1.0, "cest": 2.0, "eet": 2.0, "eest": 3.0},
    **{"est": -5.0, "edt": -4.0, "cdt": -5.0, "mst": -7.0, "mdt": -6.0, "pst": -8.0, "pdt": -7.0, "jst": 9.0},
}

_SEP = r"[-/.\s]"
_DATE = "|".join(
    (
        rf"(?P<year>\d{{4}}){_SEP}(?P<month>\d{{1,2}}){_SEP}(?P<day>\d{{1,2}})\.?",
        rf"(?P<first>\d{{1,2}}){_SEP}\s?(?P<second>\d{{1,2}}){_SEP}\s?(?P<lastyear>\d{{4}}|\d{{2}})",
        r"(?P<nday>\d{1,2})(?:st|nd|rd|th)?\.?[-/.\s]*(?P<nmonth>[a-z]{3,10})\.?[-/.,\s]*(?P<nyear>\d{4}|\d{2})",
        r"(?P<mmonth>[a-z]{3,10})\.?\s+(?P<mday>\d{1,2})(?:st|nd|rd|th)?,?\s+(?P<myear>\d{4})",
        rf"(?P<yyear>\d{{4}}){_SEP}(?P<ymonth>[a-z]{{3,10}}){_SEP}(?P<yday>\d{{1,2}})",
        r"(?P<cyear>\d{4})(?P<cmonth>\d{2})(?P<cday>\d{2})",
    )
)
_TIME = (
    r"(?P<hour>\d{1,2})[:h](?P<minute>\d{2})(?:[:m](?P<second_of>\d{2})(?:[.,:](?P<fraction>\d{1,9}))?s?)?"
    r"(?:\s*(?P<half>[ap])\.?\s?m\.?)?"
)
_COMPACT_TIME = r"(?P<khour>\d{2})(?P<kminute>\d{2})(?P<ksecond>\d{2})?"
_ZONE = r"\s*(?:(?P<zsign>[+-])(?P<zhour>\d{2}):?(?P<zminute>\d{2})?|(?P<zname>z|[a-z]{3,4}))"
_WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so)[a-z]*[.,]?\s+)?"

SHAPES = tuple(
    re.compile(pattern)
    for pattern in (
        rf"{_WEEKDAY}(?:{_DATE})(?:[t,;\s_/-]\s*|\s+-\s+){_TIME}(?:{_ZONE})?",
        rf"{_WEEKDAY}(?:{_DATE})[t_\s]?{_COMPACT_TIME}(?:{_ZONE})?",
        rf"{_WEEKDAY}(?:{_DATE})",
        rf"{_TIME}(?:{_ZONE})?",
        rf"{_TIME}\s+(?:{_DATE})",
    )
)
LONG_HOURS = re.compile(
    r"(?:(?P<days>\d{1,4})[:.\s]d?\s?)?(?P<hours>\d{1,5}):(?P<minute>\d{2}):(?P<second_of>\d{2})(?:[.,](?P<fraction>\d{1,9}))?"
)


DAY_US = 86_400_000_000


@dataclass(slots=True)
class ParsedTimes:
    """Parsed times of one column, in microseconds; `kind` is -1 for a cell without a time.

    kind : 0 date and time, 1 date alone, 2 time of day alone, -1 none
    days : days since 1970-01-01, 0 without a date
    time_us : microseconds since midnight
    offset_us : zone offset in the cell, valid where has_offset
    day_first : the order used for dates such as 3/4/2026
    order_is_sure : whether the dates (or the choice) determine the order; True if none is ambiguous
    """

    kind: NDArray[np.int8]
    days: NDArray[np.int64]
    time_us: NDArray[np.int64]
    offset_us: NDArray[np.int64]
    has_offset: NDArray[np.bool_]
    day_first: bool | None = None
    order_is_sure: bool = True
    half_day_clock: bool = False


def parse_times(cells: Cells, day_first: bool | None = None, likely_day_first: bool = False) -> ParsedTimes:
    """Dates and times of a column of text.

    cells : text; empty for a missing time
    day_first : order of dates such as 3/4/2026, None to find it from the dates
    likely_day_first : what to assume if the dates are ambiguous
    """
    text = as_bytes(cells)
    count = len(text)
    parsed = ParsedTimes(
        kind=np.full(count, -1, dtype=np.int8),
        days=np.zeros(count, dtype=np.int64),
        time_us=np.zeros(count, dtype=np.int64),
        offset_us=np.zeros(count, dtype=np.int64),
        has_offset=np.zeros(count, dtype=bool),
    )
    if not count:
        return parsed
    shapes = [_understood(rows, raw, sample) for rows, raw, sample in rows_by_shape(text)]
    groups = [group for group in shapes if group is not None]
    _decide_order(groups, day_first, likely_day_first, parsed)
    for group in groups:
        _read_group(group, parsed)
    return parsed


def parse_durations(cells: Cells) -> NDArray[np.float64]:
    """Elapsed times such as 0:01:10, 26:00:00 or 1:02:00:00 (days first) in seconds; not-a-number where none.

    >>> parse_durations(["0:01:10", "1:02:00:00", "x"])
    array([7.00e+01, 9.36e+04, nan])
    """
    text = as_bytes(cells)
    seconds = np.full(len(text), np.nan)
    for rows, raw, sample in rows_by_shape(text):
        found = LONG_HOURS.fullmatch(sample)
        if not found:
            continue
        group = DigitGroup(rows, raw, number_spans(found), {})
        total = group.number_or_zero("hours") * 3600.0 + group.number_or_zero("days") * 86400.0
        total = total + group.number_or_zero("minute") * 60.0 + group.number_or_zero("second_of")
        fraction = group.number("fraction")
        if fraction is not None:
            total = total + fraction / 10.0 ** group.width("fraction")
        seconds[rows] = total
    return seconds


def days_from_civil(year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[np.int64]:
    """Days since 1970-01-01 in the Gregorian calendar.

    >>> int(days_from_civil(np.array([2000]), np.array([3]), np.array([1]))[0])
    11017
    """
    year = year - (month <= 2)
    era = year // 400
    of_era = year - era * 400
    of_year = (153 * (month + np.where(month > 2, -3, 9)) + 2) // 5 + day - 1
    days: NDArray[np.int64] = era * 146097 + of_era * 365 + of_era // 4 - of_era // 100 + of_year - 719468
    return days


def _understood(rows: NDArray[np.intp], raw: NDArray[np.uint8], sample: str) -> DigitGroup | None:
    lead = len(sample) - len(sample.lstrip(" \"'"))
    body = sample.strip(" \"'")
    for pattern in SHAPES:
        found = pattern.fullmatch(body)
        if found:
            spans = {name: (start + lead, stop + lead) for name, (start, stop) in number_spans(found).items()}
            words = {name: value for name, value in found.groupdict().items() if value and not value.isdigit()}
            month = words.get("nmonth") or words.get("mmonth") or words.get("ymonth")
            if month and month not in MONTHS:
                continue
            if words.get("zname") and words["zname"] not in ZONE_HOURS:
                continue
            return DigitGroup(rows, raw, spans, words)
    return None


def _decide_order(
    groups: list[DigitGroup], day_first: bool | None, likely_day_first: bool, parsed: ParsedTimes
) -> None:
    """Whether 3/4/2026 is 3 April: from numbers above 12, else from what is more likely for the column."""
    open_groups = [group for group in groups if "first" in group.spans]
    parsed.half_day_clock = any("half" in group.words for group in groups)
    if not open_groups:
        return
    first = np.concatenate([group.number_or_zero("first") for group in open_groups])
    second = np.concatenate([group.number_or_zero("second") for group in open_groups])
    could_be_day_first = (second <= 12).mean()
    could_be_month_first = (first <= 12).mean()
    if day_first is not None:
        parsed.day_first = day_first
    elif could_be_day_first != could_be_month_first:
        parsed.day_first = bool(could_be_day_first > could_be_month_first)
    else:
        days_differ = len(np.unique(first)) - len(np.unique(second))
        if days_differ:  # in a log of a few days the day changes and the month does not
            parsed.day_first = days_differ > 0
            parsed.order_is_sure = abs(days_differ) > 1
        else:
            points = any("." in _separator(group) or "-" in _separator(group) for group in open_groups)
            parsed.day_first = (points or likely_day_first) and not parsed.half_day_clock
            parsed.order_is_sure = bool((first == second).all())


def _separator(group: DigitGroup) -> str:
    stop = group.spans["first"][1]
    return chr(group.raw[0, stop])


_DATE_FIELDS = tuple(name for name in re.findall(r"\?P<(\w+)>", _DATE))
_MONTH_LENGTHS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def _full_year(year: NDArray[np.int64], width: int) -> NDArray[np.int64]:
    return np.where(year < 70, year + 2000, year + 1900) if width == 2 else year


def _read_group(group: DigitGroup, parsed: ParsedTimes) -> None:
    size = len(group.rows)
    right = np.ones(size, dtype=bool)
    has_date, days = False, np.zeros(size, dtype=np.int64)
    starts, lengths = group.runs(_DATE_FIELDS)  # a log has few dates, each in many rows that follow one another
    date = _date_fields(group.some(starts), bool(parsed.day_first))
    if date is not None:
        has_date = True
        year, month, day = date
        is_date = (year >= 1) & (month >= 1) & (month <= 12)
        leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
        last = _MONTH_LENGTHS[np.clip(month, 1, 12) - 1] + ((month == 2) & leap)
        right = np.repeat(is_date & (day >= 1) & (day <= last), lengths)
        days = np.repeat(days_from_civil(year, np.clip(month, 1, 12), day), lengths)
    time_us, has_time = np.zeros(size, dtype=np.int64), False
    hour = group.number("hour", "khour")
    if hour is not None:
        has_time = True
        if "half" in group.words:
            right &= (hour >= 1) & (hour <= 12)
            hour = hour % 12 + (12 if group.words["half"] == "p" else 0)
        minute = group.number_or_zero("minute", "kminute")
        seconds = group.number_or_zero("second_of", "ksecond")
        right &= ((hour <= 23) & (minute <= 59) & (seconds <= 60)) | ((hour == 24) & (minute == 0) & (seconds == 0))
        time_us = ((hour * 60 + minute) * 60 + seconds) * 1_000_000
        fraction = group.number("fraction")
        if fraction is not None:
            time_us = time_us + (fraction * 1_000_000) // 10 ** group.width("fraction")
    _read_zone(group, parsed)
    rows = group.rows
    parsed.kind[rows] = np.where(right, 0 if has_date and has_time else 1 if has_date else 2, -1)
    parsed.days[rows] = days
    parsed.time_us[rows] = time_us


def _date_fields(
    group: DigitGroup, day_first: bool
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]] | None:
    words, spans = group.words, group.spans
    if "first" in spans:
        first, second = group.number_or_zero("first"), group.number_or_zero("second")
        year = _full_year(group.number_or_zero("lastyear"), group.width("lastyear"))
        return (year, second, first) if day_first else (year, first, second)
    for year_name, month_name, day_name in (
        ("year", "month", "day"),
        ("cyear", "cmonth", "cday"),
        ("nyear", "nmonth", "nday"),
        ("myear", "mmonth", "mday"),
        ("yyear", "ymonth", "yday"),
    ):
        if year_name in spans:
            year = _full_year(group.number_or_zero(year_name), group.width(year_name))
            month = group.number(month_name)
            if month is None:
                month = np.full(len(group.rows), MONTHS[words[month_name]], dtype=np.int64)
            return year, month, group.number_or_zero(day_name)
    return None


def _read_zone(group: DigitGroup, parsed: ParsedTimes) -> None:
    rows = group.rows
    if "zhour" in group.spans:
        size = group.number_or_zero("zhour") * 60 + group.number_or_zero("zminute")
        sign = -1 if group.words.get("zsign") == "-" else 1
        parsed.offset_us[rows] = sign * size * 60_000_000
        parsed.has_offset[rows] = True
    elif "zname" in group.words:
        parsed.offset_us[rows] = int(ZONE_HOURS[group.words["zname"]] * 3600) * 1_000_000
        parsed.has_offset[rows] = True

"""Lines above the table: start, units, time zone, interval and bin sizes."""

import math
import re
from dataclasses import dataclass, field

from app.reading_files.text.line_fields import plain_text
from app.reading_files.text.time_text import DAY_US, parse_times
from app.reading_files.text.unit_symbols import is_unit

_ZONE = re.compile(r"\b(?:utc|gmt)\s*([+-]\s?\d{1,2}(?::?\d{2})?)", re.IGNORECASE)
_BIN = re.compile(r"(?:bin|channel|size)\s*(\d+)\D*?(?:cut|size|diameter|lower|from)?.*\((um|nm|µm)\)", re.IGNORECASE)
_NOT_THE_START = re.compile(r"calib|download|firmware|software|hardware|print|export|creat|end|stop|length|max|min")
_START = re.compile(r"start|begin|beginn|debut|inicio|log|test|date|datum|time|fecha")


@dataclass(slots=True)
class Preamble:
    """Information from the lines above the table.

    start_us : start of the log on the file's clock [µs since 1970], date and time; None if there is none
    start_day : days since 1970 where only a date is given
    unit : unit stated for the whole file; "" if none
    zone : "UTC-05:00" if given; "" if none
    interval_s : interval stated for the whole file
    bins : number of a size bin to its cut point with unit, such as 1 -> "0.3um"
    dates : texts of dates, which may show the order of day and month
    inlet : channel of a mass column whose size is only in the preamble
    """

    start_us: int | None = None
    start_day: int | None = None
    unit: str = ""
    zone: str = ""
    interval_s: float | None = None
    bins: dict[int, str] = field(default_factory=dict)
    dates: list[str] = field(default_factory=list)
    inlet: str = ""


def read_preamble(lines: list[str], day_first: bool | None = None) -> Preamble:
    """Parses the lines above the table.

    >>> read_preamble(["Test Start Time,09:22:57", "Test Start Date,24/06/2024"]).start_us
    1719220977000000
    """
    found = Preamble()
    starts: list[tuple[int, str]] = []
    for line in lines[:400]:
        zone = _ZONE.search(line)
        if zone and not found.zone:
            found.zone = f"UTC{zone[1].replace(' ', '')}"
        key, values = _key_and_values(line[:500])
        for value in values:
            if re.search(r"\d[-/. ]\d{1,2}[-/. ]\d|\d{1,2}[-/. ]?[a-z]{3}", value.lower()):
                found.dates.append(value)
        _learn(found, key, values, line)
        words = plain_text(key)
        if values and _START.search(words) and not _NOT_THE_START.search(words):
            text = values[0] if len(values) == 1 else " ".join(values[:2])
            starts.append((2 if re.search(r"start|begin|debut|inicio", words) else 1, text))
            if len(values) > 1:
                starts.append((1, values[0]))
    _take_start(found, starts, day_first)
    return found


def _key_and_values(line: str) -> tuple[str, list[str]]:
    """Splits "Test Start Time,09:22:57" or "[File start date: 2023.10.23]" into key and values."""
    plain = line.strip().strip("[]#\"' ").strip()
    for mark in ("\t", ";", ","):
        if mark in plain:
            key, *values = (part.strip().strip("\"'") for part in plain.split(mark))
            if not re.search(r"\d:\d", key):
                if ": " in key and not any(values):
                    break
                return key.rstrip(":= "), [value for value in values if value]
    parted = re.split(r"\s*[:=]\s+|:(?=\D)|=", plain, maxsplit=1)
    if len(parted) == 2:
        return parted[0], [parted[1].strip().strip("\"',;")]
    return plain, []


def _learn(found: Preamble, key: str, values: list[str], line: str) -> None:
    words = plain_text(key)
    number = _number(values[0]) if values else None
    if values and words.strip() in ("unit", "units", "einheit") and is_unit(values[0]):
        found.unit = values[0]
    whole_unit = re.fullmatch(r"\s*\"?d[nm]\S*\s*\(([^)]+)\)\W*", line, re.IGNORECASE)
    if whole_unit and is_unit(whole_unit[1]):
        found.unit = whole_unit[1]
    cut = _BIN.search(key)
    if cut and number is not None:
        found.bins[int(cut[1])] = f"{number:g}{cut[2].replace('µ', 'u')}"
    if values and re.search(r"interval|logging rate|sample rate|averaging period", words):
        found.interval_s = found.interval_s or _interval(key, values[0])
    if values and "inlet" in words and re.search(r"pm\s?\d", values[0].lower()):
        found.inlet = values[0]


def _number(text: str) -> float | None:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _interval(key: str, text: str) -> float | None:
    """Parses "10", "1 minute", or "0:1:0" under "Sample Interval [H:M:S]", in seconds."""
    parts = re.fullmatch(r"(\d+):(\d+)(?::(\d+))?", text.strip())
    if parts:
        numbers = [float(part) for part in parts.groups() if part is not None]
        if len(numbers) == 2:
            seconds = numbers[0] * 60 + numbers[1] if "m:s" in key.lower() else numbers[0] * 3600 + numbers[1] * 60
        else:
            seconds = numbers[0] * 3600 + numbers[1] * 60 + numbers[2]
        return seconds or None
    words = re.fullmatch(r"([\d.]+)\s*(s|sec|second|seconds|m|min|minute|minutes|h|hour|hours)?", text.strip().lower())
    number = _number(words[1]) if words else None
    if words is None or not number:
        return None
    return number * {"m": 60.0, "h": 3600.0}.get((words[2] or "s")[0], 1.0)


def _take_start(found: Preamble, starts: list[tuple[int, str]], day_first: bool | None) -> None:
    if not starts:
        return
    texts = [text for _, text in starts]
    order = parse_times([*texts, *found.dates], day_first).day_first
    parsed = parse_times(texts, order)
    best: dict[int, tuple[int, int]] = {}
    for index, (weight, _) in enumerate(starts):
        kind = int(parsed.kind[index])
        if kind >= 0 and weight > best.get(kind, (0, 0))[0]:
            best[kind] = (weight, index)
    if 0 in best:
        index = best[0][1]
        found.start_us = int(parsed.days[index] * DAY_US + parsed.time_us[index])
    elif 1 in best:
        found.start_day = int(parsed.days[best[1][1]])
        if 2 in best:
            found.start_us = found.start_day * DAY_US + int(parsed.time_us[best[2][1]])
    if found.start_us is not None:
        found.start_day = found.start_us // DAY_US

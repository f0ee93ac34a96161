"""A log written in any layout comes back: the same times and levels, whatever delimiter, decimal mark, encoding,
line end, date format, zone, order, unit and lines above the table it was written with."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reading_files.log_table import ReadingChoices
from app.reading_files.read_log import read_log

DATE_FORMATS = {
    "iso": "%Y-%m-%dT%H:%M:%S",
    "iso with a space": "%Y-%m-%d %H:%M:%S",
    "slashes": "%Y/%m/%d %H:%M:%S",
    "points, day first": "%d.%m.%Y %H:%M:%S",
    "month name": "%d-%b-%Y %H:%M:%S",
    "half days": "%m/%d/%Y %I:%M:%S %p",
    "compact": "%Y%m%dT%H%M%S",
}
HEADERS = {
    "pm1": (("PM1 (µg/m³)", 1.0), ("pm1_mg_m3", 1e-3), ("PM1.0 [ug/m3]", 1.0)),
    "pm2_5": (("PM2.5 (mg/m3)", 1e-3), ("pm2.5", 1.0), ("PM2.5, ug/m3", 1.0)),
    "count_0_3um": (("> 0.3 µm (#/L)", 1e3), ("0.3um (1/cm³)", 1.0)),
    "pressure": (("Pressure (kPa)", 0.1), ("Pressure (hPa)", 1.0)),
    "relative_humidity": (("RH (%)", 1.0), ("Humidity, %", 1.0)),
}
ABOVE = ("Logger export", "Serial number: 00017", "", "Operator;A. B.", "Sensor,Slope,Offset", "Note\twarm-up done")


@dataclass(frozen=True)
class Layout:
    delimiter: str
    comma: bool
    encoding: str
    end: str
    dates: str
    split: bool
    zone: str | None
    newest_first: bool
    headers: dict[str, tuple[str, float]]
    above: tuple[str, ...]
    last_line_ends: bool


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    delimiter = draw(st.sampled_from([",", ";", "\t", "|"]))
    channels = draw(st.lists(st.sampled_from(sorted(HEADERS)), min_size=1, unique=True))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    headers = {name: draw(st.sampled_from(HEADERS[name])) for name in channels}
    if delimiter == ",":
        headers = {name: (header.replace(",", ""), factor) for name, (header, factor) in headers.items()}
    return Layout(
        delimiter=delimiter,
        comma=delimiter != "," and draw(st.booleans()),
        encoding=encoding,
        end=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        dates=draw(st.sampled_from(sorted(DATE_FORMATS))),
        split=draw(st.booleans()),
        zone=draw(st.sampled_from([None, "Europe/Berlin", "America/New_York"])),
        newest_first=draw(st.booleans()),
        headers=headers,
        above=tuple(draw(st.lists(st.sampled_from(ABOVE), max_size=5))),
        last_line_ends=draw(st.booleans()),
    )


def written(layout: Layout, times: list[datetime], levels: dict[str, np.ndarray]) -> bytes:
    zone = ZoneInfo(layout.zone) if layout.zone else UTC
    pattern = DATE_FORMATS[layout.dates]
    whole = layout.dates in ("iso", "compact")
    head = ["Date", "Time"] if layout.split and not whole else ["Timestamp"]
    lines = [layout.delimiter.join([*head, *(header for header, _ in layout.headers.values())])]
    table = []
    for row, time in enumerate(times):
        text = time.astimezone(zone).strftime(pattern)
        cells = text.split(" ", 1) if layout.split and not whole else [text]
        for name, (_, factor) in layout.headers.items():
            number = f"{levels[name][row] * factor:.6f}"
            cells.append(number.replace(".", ",") if layout.comma else number)
        table.append(layout.delimiter.join(cells))
    lines = [*layout.above, *lines, *(reversed(table) if layout.newest_first else table)]
    return (layout.end.join(lines) + (layout.end if layout.last_line_ends else "")).encode(layout.encoding)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    layout=layouts(),
    start=st.datetimes(datetime(2005, 1, 1), datetime(2036, 1, 1)),  # noqa: DTZ001
    step_s=st.sampled_from([1, 10, 60]),
    rows=st.integers(3, 60),
    seed=st.integers(0, 99),
)
def test_a_log_comes_back(layout, start, step_s, rows, seed):
    random = np.random.default_rng(seed)
    times = [start.replace(tzinfo=UTC, microsecond=0) + timedelta(seconds=step_s * row) for row in range(rows)]
    levels = {name: random.uniform(1, 900, rows).round(3) for name in layout.headers}
    choices = ReadingChoices(timezone=layout.zone or "UTC", day_first=layout.dates == "points, day first" or None)
    log = read_log(written(layout, times, levels), "log.csv", choices)
    assert set(log.levels) == set(levels)
    twice = [
        local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset() for local in locals_of(layout, times)
    ]
    if not all(twice):  # a log wholly inside the hour that comes twice may begin in either
        assert log.started_at == times[0]
    assert log.elapsed_s.tolist() == [step_s * row for row in range(rows)]
    for name, expected in levels.items():
        assert log.levels[name] == pytest.approx(expected, abs=2e-3 if layout.headers[name][1] == 1e-3 else 1e-4)
    assert log.rows_skipped == 0
    assert log.interval_s == step_s


def locals_of(layout: Layout, times: list[datetime]) -> list[datetime]:
    return [time.astimezone(ZoneInfo(layout.zone or "UTC")) for time in times]

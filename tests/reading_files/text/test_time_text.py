"""Dates and times as text: what the reader makes of them against the standard library."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reading_files.text.time_text import DAY_US, days_from_civil, parse_durations, parse_times

EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - wall clocks throughout
moments = st.datetimes(datetime(1, 1, 1), datetime(9999, 12, 31))  # noqa: DTZ001


def as_datetimes(cells: list[str], day_first: bool | None = None) -> list[datetime | None]:
    parsed = parse_times(cells, day_first)
    return [
        EPOCH + timedelta(microseconds=int(days * DAY_US + time)) if kind == 0 else None
        for kind, days, time in zip(parsed.kind, parsed.days, parsed.time_us, strict=True)
    ]


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(moments, min_size=1, max_size=30))
def test_iso_times_come_back(times):
    assert as_datetimes([time.isoformat() for time in times]) == times
    assert as_datetimes([time.isoformat(sep=" ", timespec="microseconds") for time in times]) == times


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(moments, min_size=1, max_size=30), st.booleans())
def test_numeric_dates_come_back_in_the_chosen_order(times, day_first):
    whole = [time.replace(microsecond=0) for time in times]
    order = "{0.day}/{0.month}/{0.year:04d}" if day_first else "{0.month}/{0.day}/{0.year:04d}"
    cells = [order.format(time) + f" {time.hour}:{time.minute:02d}:{time.second:02d}" for time in whole]
    assert as_datetimes(cells, day_first) == whole


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(moments, min_size=1, max_size=30))
def test_month_names_and_half_days_come_back(times):
    whole = [time.replace(microsecond=0) for time in times if time.year >= 1000]
    cells = [time.strftime("%d-%b-%Y %I:%M:%S %p") for time in whole]
    assert as_datetimes(cells) == whole


def test_days_against_the_standard_library():
    days = np.arange(-719_162, 2_932_896, 397)
    dates = [EPOCH + timedelta(days=int(day)) for day in days]
    parts = [np.array([getattr(date, part) for date in dates]) for part in ("year", "month", "day")]
    assert (days_from_civil(*parts) == days).all()


@pytest.mark.parametrize(
    "cell",
    [
        *("", "x", "2026-13-01 10:00", "2026-02-30 10:00", "2026-01-05 24:01", "2026-01-05 10:60", "0000-01-01 00:00"),
        *("13:00 PM", "12", "1.5", "2026-01-05 10:00 somewhere", "99/99/2026 10:00", f"2026-01-05 10:00:00{'0' * 50}"),
    ],
)
def test_what_is_no_time(cell):
    assert parse_times([cell]).kind[0] == -1
    assert as_datetimes([cell]) == [None]


def test_two_digit_years_and_the_end_of_a_day():
    assert as_datetimes(["1/2/69 10:00", "1/2/70 10:00"], True) == [
        datetime(2069, 2, 1, 10),  # noqa: DTZ001
        datetime(1970, 2, 1, 10),  # noqa: DTZ001
    ]
    assert as_datetimes(["2026-01-05 24:00"]) == [datetime(2026, 1, 6)]  # noqa: DTZ001


def test_zones_in_the_cells():
    parsed = parse_times(
        ["2026-01-05 10:00+02:00", "2026-01-05 10:00 UTC", "2026-01-05 10:00", "2026-01-05 10:00 CEST"]
    )
    assert parsed.has_offset.tolist() == [True, True, False, True]
    assert (parsed.offset_us / 3.6e9).tolist() == [2, 0, 0, 2]


def test_many_shapes_in_one_column():
    cells = [f"{'x' * (number % 40)}{number}" for number in range(3000)] + ["2026-01-05 10:00:00"] * 50
    assert (parse_times(cells).kind == 0).sum() == 50


def test_durations():
    cells = ["0:00:01", "26:00:00.5", "1:02:00:00", "x", "", "00:01"]
    assert parse_durations(cells)[:3].tolist() == [1, 93_600.5, 93_600]
    assert np.isnan(parse_durations(cells)[3:]).all()
    assert len(parse_durations([])) == len(parse_times([]).kind) == 0

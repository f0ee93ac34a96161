"""Local times into UTC against the zone data of the standard library."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reading_files.time.zones import local_to_utc, zone_named

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
ZONES = ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "America/Santiago", "UTC")


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    start=st.datetimes(datetime(2001, 1, 1), datetime(2037, 1, 1)),  # noqa: DTZ001
    zone=st.sampled_from(ZONES),
    step_s=st.sampled_from([1, 10, 60, 300, 600]),
    rows=st.integers(2, 400),
)
def test_a_log_in_a_zone_comes_back(start, zone, step_s, rows):
    """Steps short against the change of the clock: every reading is told apart, wherever the log begins or ends,
    unless it lies wholly inside the hour that comes twice."""
    truth = [start.replace(tzinfo=UTC) + timedelta(seconds=step_s * row) for row in range(rows)]
    walls = [time.astimezone(ZoneInfo(zone)) for time in truth]
    twice = [wall.replace(fold=0).utcoffset() != wall.replace(fold=1).utcoffset() for wall in walls]
    local = np.array([(wall.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1) for wall in walls])
    utc, _ = local_to_utc(local, ZoneInfo(zone))
    if not all(twice):
        assert [EPOCH + timedelta(microseconds=int(moment)) for moment in utc] == truth


def test_the_name_is_told_in_one_way():
    assert [zone_named(text)[0] for text in ("utc", "GMT", "Z", "+2", "UTC-5", "GMT+05:30", "-0330")] == [
        *("UTC", "UTC", "UTC", "UTC+02:00", "UTC-05:00", "UTC+05:30", "UTC-03:30")
    ]


def test_years_far_away_do_no_harm():
    far = np.array([-62_135_596_800_000_000, 253_402_300_799_000_000])  # years 1 and 9999
    utc, _ = local_to_utc(far, ZoneInfo("Europe/Berlin"))
    assert np.abs(utc - far).max() <= 3_600_000_000

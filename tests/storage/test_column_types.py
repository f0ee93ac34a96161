"""Times are kept as text whose order is the order of time, in every year that a calendar has."""

from datetime import UTC, datetime, timedelta, timezone

import pytest

from app.storage.column_types import UtcTime


@pytest.mark.parametrize("year", [1, 999, 1900, 2026, 2100, 9999])
def test_a_time_of_any_year_comes_back(year: int):
    moment = datetime(year, 1, 2, 3, 4, 5, 6, tzinfo=UTC)
    text = UtcTime().process_bind_param(moment, None)
    assert text == f"{year:04d}-01-02T03:04:05.000006Z"
    assert UtcTime().process_result_value(text, None) == moment


def test_a_time_of_another_zone_is_kept_in_utc():
    moment = datetime(2026, 1, 1, 1, 0, tzinfo=timezone(timedelta(hours=2)))
    assert UtcTime().process_bind_param(moment, None) == "2025-12-31T23:00:00.000000Z"


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(ValueError, match=r"The time 2026-01-01T00:00:00 has no zone; a stored time needs one\."):
        UtcTime().process_bind_param(datetime(2026, 1, 1), None)  # noqa: DTZ001

"""Times of rows: formats, zones, changes of the clock, order, gaps, lost times, wrong clocks."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.reading_files.reading import count, read_text, rows, utc


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2026-01-25T10:00:00Z", "2026-01-25T10:00:10Z"),
        ("2026-01-25T12:00:00+02:00", "2026-01-25T12:00:10+02:00"),
        ("2026-01-25T05:00:00-0500", "2026-01-25T05:00:10-0500"),
        ("2026-01-25 10:00:00.000", "2026-01-25 10:00:10.000"),
        ("20260125T100000Z", "20260125T100010Z"),
        ("20260125100000", "20260125100010"),
        ("25.01.2026 10:00:00", "25.01.2026 10:00:10"),
        ("25/01/2026 10:00:00", "25/01/2026 10:00:10"),
        ("01/25/2026 10:00:00 AM", "01/25/2026 10:00:10 AM"),
        ("1/25/26 10:00:00", "1/25/26 10:00:10"),
        ("25-Jan-2026 10:00:00", "25-Jan-2026 10:00:10"),
        ("25. Januar 2026 10:00:00", "25. Januar 2026 10:00:10"),
        ("Sun, 25 Jan 2026 10:00:00 GMT", "Sun, 25 Jan 2026 10:00:10 GMT"),
        ("Jan 25, 2026 10:00:00 AM", "Jan 25, 2026 10:00:10 AM"),
        ("2026/01/25 10:00:00", "2026/01/25 10:00:10"),
        ("1769335200", "1769335210"),
        ("1769335200000", "1769335210000"),
        ("1769335200.0", "1769335210.0"),
    ],
)
def test_each_way_to_write_a_time(first, second):
    """1769335200 s after 1970 is 2026-01-25 10:00 UTC (recomputed with the standard library)."""
    assert datetime.fromtimestamp(1769335200, UTC) == utc(2026, 1, 25, 10)
    log = read_text(rows("time;pm1", f"{first};1", f"{second};2"))
    assert (log.started_at, log.elapsed_s.tolist()) == (utc(2026, 1, 25, 10), [0, 10])


@pytest.mark.parametrize("changed", ["none", "a space before it", "a quotation mark", "no time", "no such date"])
def test_times_of_many_dates_are_those_of_the_standard_library(changed: str):
    """Times of one length are cut from the lines, others are split by the parser; a leap day is among the dates."""
    moments = [utc(2028, 2, 20) + timedelta(hours=7 * place) for place in range(60)]
    times = [f"{moment:%Y-%m-%dT%H:%M:%SZ}" for moment in moments]
    texts = {"a space before it": f" {times[7]}", "a quotation mark": f'"{times[7]}"', "no time": ""}
    times[7] = texts.get(changed, "2027-02-29T10:00:00Z" if changed == "no such date" else times[7])
    if changed in ("no time", "no such date"):
        del moments[7]
    log = read_text(rows("time,pm1,co2", *(f"{time},{place}.5,400" for place, time in enumerate(times))))
    assert log.started_at == moments[0]
    assert log.elapsed_s.tolist() == [(moment - moments[0]).total_seconds() for moment in moments]
    assert (log.levels["pm1"] % 1 == 0.5).all()
    assert len(log.skipped) == 60 - len(moments)


def test_fractions_of_a_second_and_times_of_different_length():
    log = read_text(rows("time,pm1", "1/25/2026 9:59:59.75,1", "1/25/2026 10:00:00,2", "1/25/2026 10:00:00.5,3"))
    assert log.elapsed_s.tolist() == [0, 0.25, 0.75]


@pytest.mark.parametrize("head", [("Date", "Time"), ("Datum", "Uhrzeit"), ("Fecha", "Hora"), ("Date", "Heure")])
def test_date_and_time_in_two_columns(head):
    log = read_text(rows(f"{head[0]};pm1;{head[1]}", "25.01.2026;1;23:59:50", "26.01.2026;2;00:00:00"))
    assert (log.started_at, log.elapsed_s.tolist()) == (utc(2026, 1, 25, 23, 59, 50), [0, 10])


def test_the_day_comes_first_where_a_number_above_twelve_says_so():
    lines = ["time,pm1", *(f"{day:02d}/02/2026 10:00,1" for day in range(10, 16))]
    log = read_text(rows(*lines))
    assert (log.started_at, log.day_first, log.date_order_unsure) == (utc(2026, 2, 10, 10), True, False)


def test_the_number_that_changes_is_the_day():
    lines = ["time,pm1", *(f"02/{day:02d}/2026 10:00,1" for day in range(3, 9))]
    log = read_text(rows(*lines))
    assert (log.started_at, log.day_first, log.date_order_unsure) == (utc(2026, 2, 3, 10), False, False)


def test_an_order_that_nothing_tells_is_assumed_and_said():
    text = rows("time,pm1", "03/04/2026 10:00:00,1", "03/04/2026 10:00:10,2")
    log = read_text(text)
    assert (log.started_at, log.date_order_unsure) == (utc(2026, 3, 4, 10), True)
    assert any("month first was assumed" in note for note in log.notes)
    chosen = read_text(text, day_first=True)
    assert (chosen.started_at, chosen.date_order_unsure) == (utc(2026, 4, 3, 10), False)
    with_semicolons = read_text(text.replace(",", ";"))
    assert (with_semicolons.started_at, with_semicolons.date_order_unsure) == (utc(2026, 4, 3, 10), True)


def test_a_date_above_the_table_settles_the_order():
    text = rows("Test Start Date,24/02/2026", "time,pm1", "03/04/2026 10:00:00,1", "03/04/2026 10:00:10,2")
    log = read_text(text)
    assert (log.started_at, log.date_order_unsure) == (utc(2026, 4, 3, 10), False)


def test_local_times_without_a_zone_are_read_and_a_zone_is_asked_for():
    text = rows("time,pm1", "2026-07-01 12:00:00,1", "2026-07-01 12:00:10,2")
    log = read_text(text)
    assert (log.zone_needed, log.timezone, log.started_at) == (True, "", utc(2026, 7, 1, 12))
    berlin = read_text(text, timezone="Europe/Berlin")
    assert (berlin.zone_needed, berlin.timezone, berlin.started_at) == (False, "Europe/Berlin", utc(2026, 7, 1, 10))
    fixed = read_text(text, timezone="UTC-05:00")
    assert (fixed.timezone, fixed.started_at) == ("UTC-05:00", utc(2026, 7, 1, 17))


def test_a_zone_in_the_header_or_above_it():
    in_header = read_text(rows('"Date Time, GMT-06:00",pm1', "2026-07-01 12:00:00,1", "2026-07-01 12:00:10,2"))
    assert (in_header.timezone, in_header.started_at) == ("UTC-06:00", utc(2026, 7, 1, 18))
    above = read_text(rows("Zone: UTC+02:00", "time,pm1", "2026-07-01 12:00:00,1", "2026-07-01 12:00:10,2"))
    assert (above.timezone, above.started_at) == ("UTC+02:00", utc(2026, 7, 1, 10))


def test_times_in_utc_win_over_local_times_and_a_chosen_zone():
    text = rows(
        "Local time,Time (UTC),pm1", "2026-07-01 12:00,2026-07-01 10:00,1", "2026-07-01 12:01,2026-07-01 10:01,2"
    )
    log = read_text(text, timezone="America/New_York")
    assert (log.timezone, log.started_at) == ("UTC", utc(2026, 7, 1, 10))


def local_log(zone: str, start: datetime, minutes: int, step: int = 10) -> tuple[str, list[datetime]]:
    """A log whose local clock follows the zone, and the true times."""
    truth = [start + timedelta(minutes=minute) for minute in range(0, minutes, step)]
    local = [time.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M:%S") for time in truth]
    return rows("time,pm1", *(f"{time},{number}" for number, time in enumerate(local))), truth


@pytest.mark.parametrize("step", [1, 10, 20, 30, 60])
@pytest.mark.parametrize(
    ("zone", "start"),
    [
        ("Europe/Berlin", utc(2026, 10, 24, 22)),  # the hour from 2 to 3 comes twice
        ("Europe/Berlin", utc(2026, 3, 28, 22)),  # it does not come at all
        ("America/New_York", utc(2026, 11, 1, 3)),
        ("Australia/Lord_Howe", utc(2026, 4, 4, 12)),  # the clock changes by half an hour
    ],
)
def test_local_times_survive_a_change_of_the_clock(zone, start, step):
    """The truth is made with the zone data of the standard library."""
    if zone == "Australia/Lord_Howe":
        step = min(step, 30)  # readings an hour apart do not show which of two half hours came first
    text, truth = local_log(zone, start, 480, step)
    log = read_text(text, timezone=zone)
    assert [log.started_at + timedelta(seconds=float(second)) for second in log.elapsed_s] == truth
    assert log.levels["pm1"].tolist() == list(range(len(truth)))


def test_newest_first_through_a_change_of_the_clock():
    text, truth = local_log("Europe/Berlin", utc(2026, 10, 24, 22), 480)
    head, *lines = text.strip().split("\n")
    log = read_text(rows(head, *reversed(lines)), timezone="Europe/Berlin")
    assert [log.started_at + timedelta(seconds=float(second)) for second in log.elapsed_s] == truth
    assert "The newest row is first: the order was reversed." in log.notes


def test_a_log_that_starts_or_ends_in_the_hour_that_comes_twice():
    begins = read_text(
        rows("time,pm1", *(f"2026-10-25 0{h}:{m:02d},1" for h in (2, 3) for m in (0, 10, 20, 30, 40, 50))),
        timezone="Europe/Berlin",
    )
    assert begins.started_at == utc(2026, 10, 25, 1)  # the second coming: 02:50 is followed by 03:00
    ends = read_text(
        rows("time,pm1", *(f"2026-10-25 0{h}:{m:02d},1" for h in (1, 2) for m in (0, 10, 20, 30, 40, 50))),
        timezone="Europe/Berlin",
    )
    assert (ends.started_at, ends.elapsed_s[-1]) == (utc(2026, 10, 24, 23), 6600)
    alone = read_text(rows("time,pm1", "2026-10-25 02:10,1", "2026-10-25 02:20,1"), timezone="Europe/Berlin")
    assert any("the first hour was assumed" in note for note in alone.notes)


def test_times_that_the_zone_leaves_out():
    log = read_text(
        rows("time,pm1", "2026-03-29 01:50,1", "2026-03-29 02:10,2", "2026-03-29 02:30,3"), timezone="Europe/Berlin"
    )
    assert log.elapsed_s.tolist() == [0, 1200, 2400]
    assert any("2 times do not exist in this zone" in note for note in log.notes)


@pytest.mark.parametrize(
    ("header", "values", "elapsed"),
    [
        ("Elapsed Time [s]", ("10", "20"), [0, 10]),
        ("elapsed_min", ("0.5", "1"), [0, 30]),
        ("Time (h)", ("0", "0.25"), [0, 900]),
        ("Elapsed", ("0:00:59", "0:01:09"), [0, 10]),
        ("Elapsed time", ("23:59:59", "24:00:09"), [0, 10]),
        ("t", ("0", "10"), [0, 10]),
        ("elapsed_ms", ("0", "10000"), [0, 10]),
    ],
)
def test_elapsed_times_without_a_start(header, values, elapsed):
    log = read_text(rows(f"{header};pm1", f"{values[0]};1", f"{values[1]};2"))
    assert (log.elapsed_s.tolist(), log.clock_is_known, log.started_at) == (elapsed, False, utc(1970, 1, 1))
    assert (log.zone_needed, log.timezone) == (False, "")
    assert "The file has only elapsed times; the start is not known." in log.notes


@pytest.mark.parametrize(
    "above",
    [
        ("Start Time,2026-07-01 12:00:00",),
        ("Test Start Time,12:00:00", "Test Start Date,01/07/2026", "Calibration Date,24/06/2025"),
        ("[File start date: 2026.07.01]", "[File start time: 12:00:00]"),
        ("Log Start;01-07-2026 12:00:00", "Log End;13-07-2026 12:00:00"),
    ],
)
def test_elapsed_times_with_the_start_above_the_table(above):
    text = rows(*above, "Elapsed Time [s],pm1", "10,1", "20,2")
    log = read_text(text)
    assert (log.started_at, log.clock_is_known, log.zone_needed) == (utc(2026, 7, 1, 12, 0, 10), True, True)
    berlin = read_text(text, timezone="Europe/Berlin")
    assert (berlin.started_at, berlin.zone_needed) == (utc(2026, 7, 1, 10, 0, 10), False)


def test_numbered_rows_with_the_interval_above_the_table():
    log = read_text(
        rows("Sample Interval [H:M:S],0:1:0", "Start Time,2026-07-01 12:00:00", "Sample,pm1", "1,5", "2,6", "3,7")
    )
    assert (log.interval_s, log.started_at) == (60, utc(2026, 7, 1, 12, 1))


def test_a_clock_without_a_date_runs_through_midnight():
    log = read_text(rows("clock,pm1", "23:59:50,1", "00:00:00,2", "00:00:10,3"))
    assert (log.elapsed_s.tolist(), log.clock_is_known) == ([0, 10, 20], False)
    dated = read_text(rows("Start date: 2026-07-01", "clock,pm1", "23:59:50,1", "00:00:00,2"))
    assert (dated.started_at, dated.clock_is_known) == (utc(2026, 7, 1, 23, 59, 50), True)


def test_the_midnight_row_that_lost_its_time():
    lines = ["25.01.2026 23:59:40;1", "25.01.2026 23:59:50;2", "26.01.2026;3", "26.01.2026 00:00:10;4"]
    log = read_text(rows("time;pm1", *lines))
    assert (log.elapsed_s.tolist(), log.levels["pm1"].tolist()) == ([0, 10, 20, 30], [1, 2, 3, 4])
    assert "One row has a date without a time: midnight, according to the rows around it." in log.notes


def test_the_midnight_row_that_lost_its_time_in_two_columns():
    lines = ["25.01.2026;23:59:40;1", "25.01.2026;23:59:50;2", "26.01.2026;;3", "26.01.2026;00:00:10;4"]
    log = read_text(rows("date;time;pm1", *lines))
    assert (log.elapsed_s.tolist(), log.levels["pm1"].tolist()) == ([0, 10, 20, 30], [1, 2, 3, 4])


def test_a_date_without_a_time_elsewhere_is_skipped():
    lines = ["25.01.2026 13:59:40;1", "25.01.2026 13:59:50;2", "25.01.2026;3", "25.01.2026 14:00:10;4"]
    log = read_text(rows("time;pm1", *lines))
    assert (log.levels["pm1"].tolist(), log.rows_skipped) == ([1, 2, 4], 1)
    assert (log.skipped[0].line, log.skipped[0].reason) == (4, "date without a time of day")


def test_gaps_stay_gaps():
    log = read_text(rows("time,pm1", *(f"2026-01-05 10:{m:02d}:00,{m}" for m in (0, 1, 2, 40, 41))))
    assert (log.interval_s, log.elapsed_s.tolist()) == (60, [0, 60, 120, 2400, 2460])


def test_rows_of_equal_time_count_once_with_their_mean():
    lines = ["2026-01-05 10:00:00,1,", "2026-01-05 10:00:00,1,", "2026-01-05 10:00:01,2,7", "2026-01-05 10:00:01,4,"]
    log = read_text(rows("time,pm1,pm10", *lines))
    assert (log.rows_read, log.levels["pm1"].tolist()) == (4, [1, 3])
    assert np.isnan(log.levels["pm10"][0])
    assert log.levels["pm10"][1] == 7
    assert "2 rows repeat the time of another row: the mean of their readings is used once." in log.notes


def test_a_clock_that_was_put_back_by_much():
    first = [f"2026-01-05 10:{m:02d}:00,{m}" for m in range(40)]
    second = [f"2026-01-05 10:{m:02d}:30,{100 + m}" for m in range(20, 60)]
    log = read_text(rows("time,pm1", *first, *second))
    assert (log.rows_read, log.rows_skipped) == (61, 19)
    assert log.levels["pm1"][:40].tolist() == list(range(40))
    assert log.levels["pm1"][40] == 139
    assert log.skipped[0].reason == "goes back to a time already logged"
    assert "One step goes back in time, the largest by 1110 s." in log.notes


def test_two_halves_in_the_wrong_order_are_put_in_order():
    later = [f"2026-01-05 11:{m:02d}:00,{60 + m}" for m in range(40)]
    earlier = [f"2026-01-05 10:{m:02d}:00,{m}" for m in range(60)]
    log = read_text(rows("time,pm1", *later, *earlier))
    assert (log.rows_skipped, log.levels["pm1"].tolist()) == (0, [*range(60), *range(60, 100)])


def test_rows_before_the_clock_was_set_are_skipped():
    lines = ["1970-01-01 00:00:05,1", "1970-01-01 00:00:15,2", *(f"2026-01-05 10:00:{s:02d},{s}" for s in range(10))]
    log = read_text(rows("time,pm1", *lines))
    assert (log.rows_read, log.rows_skipped, log.started_at) == (10, 2, utc(2026, 1, 5, 10))
    assert log.skipped[0].reason == "time far from that of the other rows"


@pytest.mark.parametrize("year", [1900, 1970, 1999, 2100, 2945, 9998])
def test_a_clock_in_the_wrong_year(year):
    log = read_text(rows("time,pm1", f"{year}-01-05 10:00:00,1", f"{year}-01-05 10:00:10,2"), timezone="Europe/Berlin")
    assert (log.clock_is_known, log.elapsed_s.tolist(), log.started_at.year) == (False, [0, 10], year)
    assert f"The logger clock shows the year {year}, which is impossible; only elapsed times are used." in log.notes


def test_times_of_the_upload_are_told():
    log = read_text(rows("uploaded_at,pm1", "2026-01-05 10:00:00,1", "2026-01-05 10:05:00,2"))
    assert any("are upload" in note for note in log.notes)
    both = read_text(
        rows(
            "uploaded_at,measured_at,pm1",
            "2026-01-05 10:00:09,2026-01-05 10:00:00,1",
            "2026-01-05 10:05:31,2026-01-05 10:05:00,2",
        )
    )
    assert (both.started_at, any("upload" in note for note in both.notes)) == (utc(2026, 1, 5, 10), False)


def test_days_as_a_spreadsheet_counts_them():
    """46027.5 is noon of 2026-01-05: 1899-12-30 plus 46 027 days (recomputed)."""
    assert datetime(1899, 12, 30) + timedelta(days=46_027.5) == datetime(2026, 1, 5, 12)  # noqa: DTZ001
    log = read_text(rows("Date,pm1", "46027.5,1", "46027.5006944444,2", "46027.5013888889,3"))
    assert (log.started_at, log.elapsed_s.tolist()) == (utc(2026, 1, 5, 12), [0, 60, 120])


def test_one_reading_is_a_log():
    log = read_text("time,pm1\n2026-01-05 10:00:00,1")
    assert (log.elapsed_s.tolist(), log.interval_s, count(log.levels["pm1"])) == ([0], 0, 1)

"""Every refusal: what was found, with file, line and text, and what would be needed."""

import numpy as np
import pytest

from app.errors import UnreadableLog
from app.reading_files import read_log as log_reader
from app.reading_files.headers.preamble import Preamble
from app.reading_files.log_table import ReadingChoices
from app.reading_files.read_log import read_log
from app.reading_files.refusals import ColumnsNotRecognised
from app.reading_files.table import segment as table_segment
from tests.reading_files.reading import read_text, refused, rows

GOOD = rows("time,pm1", "2026-01-05 10:00:00,1", "2026-01-05 10:00:01,2")


@pytest.mark.parametrize("content", [b"", b"  \r\n\t\n", b"\x00\x00", b"\xef\xbb\xbf", b"\xff\xfe"])
def test_an_empty_file(content):
    assert refused(content).message == (
        "log.csv: The file is empty. A table with one row per time is required: export the log again."
    )


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"%PDF-1.7 ...", "a PDF document"),
        (b"\x1f\x8b\x08 ...", "a gzip archive"),
        (b"\xd0\xcf\x11\xe0 ...", "an old binary spreadsheet (XLS)"),
        (b"\x89PNG\r\n", "a picture"),
        (b"RIFF....WAVE", "a sound or picture file"),
        (b"SQLite format 3\x00", "a database"),
    ],
)
def test_files_of_another_kind(content, what):
    message = refused(content).message
    assert message == (
        f"log.csv, line 1: The file is {what}, not a table. "
        "Export the log as CSV, tab-separated text or XLSX and upload that file."
    )


def test_pages_and_json_and_bytes():
    page = refused("<!DOCTYPE html>\n<title>Log in</title>")
    assert page.message.startswith(
        "log.csv, line 1: The file is a web page or XML, not a table. The text there is “<!DOCTYPE"
    )
    assert (page.line, page.text) == (1, "<!DOCTYPE html>")
    assert 'The file is JSON, not a table. The text there is “{"a": 1}”.' in refused('{"a": 1}').message
    assert "The file contains bytes that are not text." in refused(bytes(range(1, 32)) * 20).message


def test_a_file_that_is_too_large(monkeypatch):
    monkeypatch.setattr("app.reading_files.text.decoding.LARGEST_FILE_BYTES", 1024**2)
    assert refused(b"a,b\n" * 500_000).message == (
        "log.csv: The file has 2 MB; at most 1 MB are read. Cut the log to the hours of the trial."
    )


def test_a_line_that_is_too_long(monkeypatch):
    monkeypatch.setattr("app.reading_files.table.log_lines.LONGEST_LINE", 100)
    problem = refused(rows("time,pm1", "2026-01-05 10:00:00,1" + "0" * 200))
    assert problem.message.startswith(
        "log.csv, line 2: The line has 221 characters; at most 100 are read. The text there is"
    )
    assert problem.line == 2


def test_a_file_without_fields():
    problem = refused("\nhello\nworld\n")
    assert problem.message == (
        "log.csv, line 2: No table was found: the lines have no separate fields. The text there is “hello”. Fields "
        "separated by comma, semicolon, tab or bar are required, one of them with the time."
    )
    assert (problem.file_name, problem.line, problem.text, problem.field) == ("log.csv", 2, "hello", "log")


def test_a_file_without_a_table():
    assert refused("Dear Sir,\nthank you, and goodbye,\nyours, me\n").message == (
        "log.csv, line 1: No table of readings was found, with fields separated by comma. "
        "The text there is “Dear Sir,”. "
        "A header line, with a time column, is required above the rows of numbers."
    )


def test_a_table_without_times():
    problem = refused(rows("size,pm1,pm10", "a,1,2", "b,3,4", "c,5,6"))
    assert isinstance(problem, UnreadableLog)
    numbers = refused(rows("size,pm1,pm10", "1,1,2", "1,3,4", "1,5,6"))
    assert isinstance(numbers, ColumnsNotRecognised)
    assert numbers.message == (
        "log.csv, line 1: No column holds times. The columns are “size”, “pm1”, “pm10”. A column with date "
        "and time, or seconds since the start, is required; if there is one, select it."
    )
    assert [column.channel for column in numbers.columns] == [None, "pm1", "pm10"]


def test_a_table_without_a_channel():
    problem = refused(rows("time,apples", "2026-01-05 10:00:00,1", "2026-01-05 10:00:01,2"))
    assert isinstance(problem, ColumnsNotRecognised)
    assert problem.message == (
        "log.csv, line 1: No channel was recognised. The columns are “time”, “apples”. "
        "Say what one of them holds, such as PM2.5, or name the line that holds the right header."
    )
    assert (problem.line, [column.use for column in problem.columns]) == (1, ["time", "left out"])


def test_a_column_that_is_not_there():
    problem = refused(GOOD, columns={"PM 5": "pm2_5"})
    assert problem.message == (
        "log.csv, line 1: There is no column “PM 5”. The columns are “time”, “pm1”. Choose one of these."
    )


def test_many_columns_are_listed_in_part():
    text = rows(",".join(["time", *(f"x{n}" for n in range(20))]), ",".join(["2026-01-05", *["1"] * 20]))
    assert "“x10” and 9 more." in refused(text).message


def test_rows_without_a_reading():
    problem = refused(rows("time,pm1", "2026-01-05 10:00:00,ERR", "2026-01-05 10:00:01,ERR"), columns={"pm1": "pm1"})
    assert problem.message == (
        "log.csv, line 2: No row has both a time and a reading (the first row that was skipped: “pm1”: “ERR” is not "
        "a number). The text there is “2026-01-05 10:00:00,ERR”. Rows with a time and a number are required below "
        "the header."
    )
    header_only = refused(rows("time,pm1", "2026-01-05 10:00:00,"), columns={"pm1": "pm1"})
    assert "No row has both a time and a reading. The text there is “time,pm1”." in header_only.message


def test_decimal_commas_between_commas():
    problem = refused(rows("time,pm1,pm10", "2026-01-05 10:00:00,12,5,30,1", "2026-01-05 10:00:01,12,4,30,0"))
    assert problem.message == (
        "log.csv, line 2: The row has 5 fields below 3 headers; decimal commas in a comma-separated file look like "
        "this. The text there "
        "is “2026-01-05 10:00:00,12,5,30,1”. Export the log with semicolons or tabs between the fields, or with "
        "decimal points."
    )
    assert read_text(rows("time,pm1", "2026-01-05 10:00:00,12.5,ok", "2026-01-05 10:00:01,12,ok")).rows_read == 2


def test_an_unknown_zone():
    for zone in ("Mars/Olympus", "UTC+99:00", "../etc/passwd", "Europe/Berlin\x00"):
        problem = refused(GOOD, timezone=zone)
        assert (
            "is not known. Use a name such as Europe/Berlin or America/New_York, or an offset such as"
            in problem.message
        )
    assert refused(GOOD, timezone="Mars/Olympus").message.startswith("log.csv: The time zone “Mars/Olympus” is not")


def test_too_many_columns_and_cells(monkeypatch):
    monkeypatch.setattr("app.reading_files.table.segment.MOST_CELLS", 3)
    assert refused(GOOD).message == (
        "log.csv, line 1: The table has 2 rows of 2 columns; at most 3 cells are read. "
        "Cut the log to the hours of the trial, or export fewer columns."
    )
    monkeypatch.setattr("app.reading_files.table.segment.MOST_COLUMNS", 1)
    assert refused(GOOD).message == (
        "log.csv, line 1: The header has 2 columns; at most 1 are read. Export fewer columns."
    )


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_too_many_lines(end: bytes, monkeypatch):
    monkeypatch.setattr("app.reading_files.table.log_lines.MOST_LINES", 2)
    assert refused(GOOD.encode().replace(b"\n", end)).message == (
        "log.csv: The file has 3 lines; at most 2 are read. Cut the log to the hours of the trial."
    )


def test_a_time_beyond_any_calendar():
    text = rows("elapsed_s,pm1", "1e12,1", "1.1e12,2")
    problem = refused("Start Time,2026-01-05 10:00:00\n" + text)
    assert problem.message.startswith("log.csv, line 3: The first time is 31,744 years")
    assert "Times must be between the years 1 and 9999. Select the time column." in problem.message


def test_control_characters_in_a_quoted_text_are_not_passed_on():
    assert "“the bell·rings·twice today”" in refused("the bell\x07rings\x1btwice today").message


def test_a_long_text_is_shortened():
    message = refused("x" * 500).message
    assert "“" + "x" * 60 + "…”" in message


def test_without_a_name_the_message_still_reads():
    with pytest.raises(UnreadableLog, match=r"^the file: The file is empty\."):
        read_log(b"", "")
    assert ReadingChoices() == ReadingChoices(None, {}, {}, None, None)
    assert Preamble() == Preamble(start_us=None)
    assert (log_reader.FIRST_LIKELY_YEAR, table_segment.MOST_BOXES) == (2000, 500)


def test_a_header_that_changes_for_ever():
    lines = [line for n in range(60) for line in (f"time,pm{(1, 10)[n % 2]}", f"2026-01-05 10:00:{n:02d},1")]
    problem = refused(rows(*lines))
    assert problem.message.startswith(
        "log.csv, line 101: The header changes 50 times or more. The text there is “time,pm1”."
    )


def test_a_number_beyond_any_level_is_no_reading():
    log = read_log(
        b"time,PM2.5\n2026-01-05T10:00:00Z,5\n2026-01-05T10:00:10Z,1.7e308\n2026-01-05T10:00:20Z,6\n", "l.csv"
    )
    assert log.levels["pm2_5"].tolist() == [5, 6]
    assert [skip.reason for skip in log.skipped] == ["“PM2.5”: “1.7e+308” is too large for a level"]


@pytest.mark.parametrize("exponent", ["9999999999", "999999999999", "+9993564453125", "50000000000", "9" * 400])
def test_an_exponent_beyond_all_numbers_is_no_reading_and_ends_no_program(exponent: str):
    """pandas 2.3.3 read outside its memory at such a cell and ended the whole process (found by mutated logs)."""
    levels = read_text(minutes_of(f"3.9e{exponent}")).levels["pm2_5"]
    assert levels[:20].tolist() == list(range(20))
    assert not np.isfinite(levels[20:]).any()


def test_an_exponent_below_all_numbers_is_nothing():
    assert read_text(minutes_of("3.9e-99999999999999")).levels["pm2_5"][20] == 0.0
    assert read_text(minutes_of("3.9e00000000000001")).levels["pm2_5"][20] == 39.0


def minutes_of(last: str) -> str:
    rows = "".join(f"2026-01-05T10:00:{second:02d}Z,{second}\n" for second in range(20))
    return f"time,PM2.5 (µg/m³)\n{rows}2026-01-05T10:00:20Z,{last}\n"

"""Bytes to lines, lines to fields, cells to numbers, and what the lines above a table say."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reading_files.headers.preamble import read_preamble
from app.reading_files.headers.search import could_be_header, find_header, is_time_header, looks_like_reading
from app.reading_files.table.utc_order import is_newest_first, merge_equal_times, rising_order
from app.reading_files.text.decoding import decode_text
from app.reading_files.text.line_fields import find_decimal_mark, find_delimiter, split_line
from app.reading_files.text.number_text import number_in, number_with_unit, why_no_number


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\x00\r\n\ufeff"), min_size=1))
def test_text_comes_back_from_utf_8_and_utf_16(text):
    assert decode_text(text.encode()).lines == [text]
    assert decode_text(text.encode("utf-16")).lines == [text]


def test_damaged_utf_8_is_repaired_and_said():
    decoded = decode_text(("°C µg/m³ é\n" * 20).encode() + b"\xff\n")
    assert decoded.encoding == "utf-8"
    assert decoded.notes == ("1 damaged characters were replaced.",)


def test_languages_with_an_alphabet_of_their_own():
    text = "Время;Температура;Влажность\n" * 20
    assert decode_text(text.encode("cp1251")).lines[0] == "Время;Температура;Влажность"


def test_whether_the_last_line_is_closed():
    assert decode_text(b"a\nb").last_line_ends is False
    assert decode_text(b"a\nb\n").last_line_ends is True
    assert decode_text(b"a\nb\n").lines == ["a", "b"]


def test_fields():
    assert split_line('a,"b ""c"", d",', ",") == ["a", 'b "c", d', ""]
    assert split_line("  1   2 ", " ") == ["1", "2"]
    assert split_line('"' + "x" * 200_000 + '",1', ",") == ["x" * 200_000, "1"]
    assert find_delimiter(["one word", "another one"]) == " "
    assert find_delimiter(["word"]) is None
    assert find_delimiter(["a;b", "c;d", "x"]) == ";"
    assert find_decimal_mark(["1,5", "2.5", "3.5"], ";") == "."
    assert find_decimal_mark([], ",") == "."


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_numbers_come_back(value):
    assert number_in(repr(value)) == value
    assert number_in(f"{value:.4f}".replace(".", ","), ",") == pytest.approx(value, abs=1e-4)


@pytest.mark.parametrize(
    ("text", "mark", "value"),
    [
        ("1 234,5", ",", 1234.5),
        ("1'234.5", ".", 1234.5),
        ("1.234.567", ",", 1234567),
        ("1,234,567.5", ".", 1234567.5),
        ("−3.5", ".", -3.5),
        ('"4"', ".", 4),
        (".5", ".", 0.5),
        ("5.", ".", 5),
        ("1e400", ".", None),
        ("0x10", ".", None),
        ("1_000", ".", None),
        ("1-2", ".", None),
        ("12:30", ".", None),
        ("", ".", None),
    ],
)
def test_numbers_as_people_write_them(text, mark, value):
    assert number_in(text, mark) == value


def test_numbers_with_units_and_marks():
    assert number_with_unit("1.234,5 mg/m³", ",") == (1234.5, "mg/m³")
    assert number_with_unit("- dB") is None
    assert why_no_number(">1000") == "“>1000” marks a level above the range"
    assert why_no_number("LOD") == "“LOD” marks a level below the range"


def test_lines_above_a_table():
    told = read_preamble(
        [
            "Logger export",
            "Units;ppb",
            "Interval;10",
            "Zone: (UTC-05:00) somewhere",
            "Bin 3 Cut Point (um),0.465",
            "Log Start;26-08-2026 01:21:44",
            "Calibration Date;01-01-2020",
            "Inlet Aerosol Size:,PM10",
        ]
    )
    assert (told.unit, told.interval_s, told.zone, told.bins, told.inlet) == (
        "ppb",
        10,
        "UTC-05:00",
        {3: "0.465um"},
        "PM10",
    )
    assert told.start_us == 1_787_707_304_000_000  # 2026-08-26 01:21:44 (date -u -d @1787707304)
    assert read_preamble([]).start_us is None
    assert read_preamble(["Logging interval: 1 minute"]).interval_s == 60
    assert read_preamble(["Sample interval: 1:30 [M:S]", "Test Interval [M:S],0:10"]).interval_s in (10, 5400)
    assert read_preamble(["Start date: 2026-07-01"]).start_day == 20_635


def test_where_a_table_begins():
    lines = [
        "Start Time,10:00:00",
        "Sensor,Slope",
        "A,1",
        "B,2",
        "",
        "Date,Time,PM10",
        "d,t,ug/m3",
        "1/25/2026,10:00,5",
    ]
    header = find_header(lines, ",")
    assert header is not None
    assert (header.line, header.first_row, header.units) == (5, 7, ("d", "t", "ug/m3"))
    assert find_header(["a,b", "c,d"], ",") is None
    twice = find_header(["time,x,x,,x", "2026-01-05 10:00,1,2,3,4", "2026-01-05 10:01,1,2,3,4"], ",")
    assert twice is not None
    assert twice.names == ("time", "x", "x (2)", "column 4", "x (3)")
    assert (could_be_header(["pm1", "pm2"]), is_time_header("Zeitstempel"), looks_like_reading("ERR")) == (
        False,
        True,
        False,
    )


def test_order_of_rows():
    assert is_newest_first(np.array([3, 2, 2, 1]))
    assert not is_newest_first(np.array([1, 2, 3, 1]))
    calm = rising_order(np.array([1, 2, 2, 3]))
    assert (calm.rows.tolist(), calm.left_out.tolist(), calm.notes) == ([0, 1, 2, 3], [], ())
    swapped = rising_order(np.array([0, 2, 1, 3]) * 1_000_000)
    assert swapped.rows.tolist() == [0, 2, 1, 3]


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(st.integers(-(10**12), 10**12), min_size=1, max_size=200))
def test_whatever_the_order_times_rise_in_the_end(times):
    order = rising_order(np.array(times, dtype=np.int64))
    assert sorted([*order.rows, *order.left_out]) == list(range(len(times)))
    assert (np.diff(np.array(times)[order.rows]) >= 0).all()


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 5), st.floats(-1e6, 1e6)), min_size=1, max_size=50))
def test_rows_of_one_time_keep_their_mean(pairs):
    pairs.sort(key=lambda pair: pair[0])
    times = np.array([time for time, _ in pairs])
    merged_times, merged, extra = merge_equal_times(times, {"pm1": np.array([value for _, value in pairs])})
    assert extra == len(pairs) - len(set(times))
    expected = [np.mean([value for time, value in pairs if time == one]) for one in merged_times]
    assert merged["pm1"] == pytest.approx(expected, abs=1e-6)

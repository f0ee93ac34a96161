"""Layouts that loggers write, each in a small file of its own."""

import numpy as np
import pytest

from tests.reading_files.reading import count, read_text, rows, utc


@pytest.mark.parametrize(
    ("delimiter", "name"), [(",", "comma"), (";", "semicolon"), ("\t", "tab"), ("|", "bar"), (" ", "spaces")]
)
def test_each_delimiter(delimiter, name):
    lines = [
        "time PM2.5 RH",
        "2026-01-05T10:00:00Z 12.5 40",
        "2026-01-05T10:00:01Z 12.4 41",
        "2026-01-05T10:00:02Z 12 42",
    ]
    log = read_text(rows(*(line.replace(" ", delimiter) for line in lines)))
    assert (log.delimiter, log.levels["pm2_5"].tolist()) == (name, [12.5, 12.4, 12])


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_decimal_commas(delimiter):
    lines = [
        "Zeit#Feinstaub PM2,5 (µg/m³)#Temperatur",
        "05.01.2026 10:00:00#1.212,5#21,5",
        "05.01.2026 10:00:10#9#21,4",
    ]
    log = read_text(rows(*lines).replace("#", delimiter))
    assert (log.decimal_mark, log.levels["pm2_5"].tolist()) == (",", [1212.5, 9])
    assert log.started_at == utc(2026, 1, 5, 10)


def test_quoted_decimal_commas_in_a_comma_file():
    log = read_text(rows("time,pm10", '"2026-01-05 10:00","12,5"', '"2026-01-05 10:01","12,25"'))
    assert (log.decimal_mark, log.levels["pm10"].tolist()) == (",", [12.5, 12.25])


def test_thousands_in_a_comma_file():
    log = read_text(rows("time,pm10", '2026-01-05 10:00,"1,250"', '2026-01-05 10:01,"1,312.5"'))
    assert log.levels["pm10"].tolist() == [1250, 1312.5]


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "mac_roman", "cp850"]
)
def test_each_encoding(encoding):
    text = rows("time;PM2.5 (µg/m³);Temperature (°C)", *(f"2026-01-05 10:00:0{s};{s};21.5" for s in range(9)))
    written = text.replace("³", "3") if encoding == "mac_roman" else text  # it has no such sign
    log = read_text(written, encoding=encoding)
    assert (log.units["pm2_5"], log.units["temperature"], count(log.levels["pm2_5"])) == ("µg/m³", "°C", 9)
    assert {column.header for column in log.columns} == {
        "time",
        "PM2.5 (µg/m³)",
        "Temperature (°C)",
    } or encoding == "mac_roman"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_each_line_end(end):
    text = end.join(["time,pm1", "2026-01-05 10:00:00,1", "2026-01-05 10:00:01,2", ""])
    log = read_text(text)
    assert log.levels["pm1"].tolist() == [1, 2]
    assert ("Lines end with a bare carriage return." in log.notes) == (end == "\r")


def test_nul_bytes_are_left_out():
    log = read_text("time,pm1\n2026-01-05 10:00:00,1\x00\n\x00\x002026-01-05 10:00:01,2\n")
    assert log.levels["pm1"].tolist() == [1, 2]
    assert "3 NUL bytes were removed." in log.notes


@pytest.mark.parametrize(
    ("header", "value", "channel", "unit", "level"),
    [
        ("PM2.5 (mg/m3)", "0.25", "pm2_5", "µg/m³", 250),
        ("PM2.5 [ng/m³]", "2500", "pm2_5", "µg/m³", 2.5),
        ("pm10_ug_m3", "25", "pm10", "µg/m³", 25),
        ("Particles >0.3 µm (#/L)", "25000", "count_0_3um", "1/cm³", 25),
        ("0.5um (#/ft3)", "28316.846592", "count_0_5um", "1/cm³", 1),
        ("count (1/cm³)", "25", "count_total", "1/cm³", 25),
        ("Temp, °F", "212", "temperature", "°C", 100),
        ("T (K)", "273.15", "temperature", "°C", 0),
        ("Relative Humidity (%)", "45", "relative_humidity", "%", 45),
        ("Pressure (kPa)", "101.3", "pressure", "hPa", 1013),
        ("Barometer [inHg]", "29.92", "pressure", "hPa", 1013.207),
        ("CO2 (ppm)", "800", "co2", "ppm", 800),
        ("TVOC (ppb)", "250", "voc", "ppm", 0.25),
        ("TVOC (mg/m3)", "0.5", "voc", "mg/m³", 0.5),
        ("VOC index", "120", "voc", "index", 120),
        ("Active power (kW)", "0.0456", "power", "W", 45.6),
        ("LAeq [dB]", "38.5", "sound_level", "dB(A)", 38.5),
        ("NO2 (ppb)", "12", "no2", "ppb", 12),
    ],
)
def test_units(header, value, channel, unit, level):
    """Exact or decimal factors by definition; inches of mercury from NIST SP 811, B.8 (from memory)."""
    log = read_text(rows(f"time;{header}", f"2026-01-05 10:00;{value}", f"2026-01-05 10:01;{value}"))
    assert log.units == {channel: unit}
    assert log.levels[channel] == pytest.approx([level, level], rel=1e-4)


def test_milligrams_and_micrograms_side_by_side():
    log = read_text(rows("time,PM1 (mg/m3),PM10 (ug/m3)", "2026-01-05 10:00,0.2,300", "2026-01-05 10:01,0.1,150"))
    assert (log.levels["pm1"].tolist(), log.levels["pm10"].tolist()) == ([200, 100], [300, 150])


def test_units_in_the_cells():
    log = read_text(rows("time,PM10,Level", "2026-01-05 10:00,0.2 mg/m3,1", "2026-01-05 10:01,150 µg/m³,1"))
    assert log.levels["pm10"].tolist() == [200, 150]


def test_a_line_of_units_below_the_header():
    log = read_text(rows("time,PM10,Temp", "YYYY-MM-DD,mg/m3,°F", "2026-01-05 10:00,0.2,50", "2026-01-05 10:01,0.1,50"))
    assert (log.levels["pm10"].tolist(), log.levels["temperature"].tolist()) == ([200, 100], [10, 10])
    assert log.rows_skipped == 0


def test_a_line_of_units_with_one_unit_or_above_the_header():
    one = read_text(rows("time,PM10", ",[mg/m3]", "2026-01-05 10:00,0.2", "2026-01-05 10:01,0.1"))
    above = read_text(rows("export", ",mg/m3,°F", "time,PM10,T", "2026-01-05 10:00,0.2,50", "2026-01-05 10:01,0.1,50"))
    assert one.levels["pm10"].tolist() == above.levels["pm10"].tolist() == [200, 100]
    assert above.levels["temperature"].tolist() == [10, 10]
    minutes = read_text(rows("Time;PM10", "min;mg/m3", "0;0.2", "0.5;0.1"))
    assert minutes.elapsed_s.tolist() == [0, 30]


def test_a_spreadsheet_s_own_first_line():
    log = read_text(rows("sep=;", "time;PM10", "2026-01-05 10:00;1,5", "2026-01-05 10:01;2,5"))
    assert (log.header_line, log.levels["pm10"].tolist()) == (2, [1.5, 2.5])


def test_a_header_behind_a_hash():
    log = read_text(rows("# my logger", "# time, pm1", "2026-01-05 10:00:00, 1", "# note", "2026-01-05 10:00:01, 2"))
    assert (log.levels["pm1"].tolist(), log.rows_skipped) == ([1, 2], 1)


def test_sizes_in_tenths_are_told_by_their_neighbour():
    log = read_text(
        rows("time,particles_03um,particles_10um,particles_25um", "2026-01-05 10:00,9,5,1", "2026-01-05 10:01,9,4,2")
    )
    assert set(log.levels) == {"count_0_3um", "count_1um", "count_2_5um"}


def test_groups_above_the_header_name_the_detectors():
    lines = (",Sensor A,,Sensor B,", "time,PM1,PM10,PM1,PM10", "2026-01-05 10:00,1,2,3,4", "2026-01-05 10:01,5,6,7,8")
    log = read_text(rows(*lines))
    assert {name: levels[0] for name, levels in log.levels.items()} == {"pm1": 1, "pm10": 2, "pm1_b": 3, "pm10_b": 4}


def test_two_calculations_of_one_detector():
    log = read_text(rows("time,pm2.5_cf_1,pm2.5_atm,pm2.5_cf_1_b", "2026-01-05 10:00,1,2,3", "2026-01-05 10:01,1,2,3"))
    assert {name: levels[0] for name, levels in log.levels.items()} == {"pm2_5": 1, "pm2_5_b": 3}
    assert next(c.reason for c in log.columns if c.header == "pm2.5_atm") == (
        "another calculation from the same detector"
    )


def test_statistics_and_running_means_are_no_readings():
    head = "time,PM10 min,PM10,PM10 max,PM10 (avg 24h),PM2.5 TWA,AQI"
    log = read_text(rows(head, "2026-01-05 10:00,1,2,3,4,5,6", "2026-01-05 10:01,1,2,3,4,5,6"))
    assert {name: levels.tolist() for name, levels in log.levels.items()} == {"pm10": [2, 2]}


def test_text_in_cells_is_no_reading_and_is_listed():
    marks = ["---", "ERR", "NaN", "OL", "overload", "inf", "-9999", "<0.5", "n/a"]
    lines = [f"2026-01-05 10:00:{second:02d},{mark},{second}" for second, mark in enumerate(marks)]
    log = read_text(rows("time,pm1,pm10", *lines, "2026-01-05 10:00:30,7,8"))
    assert count(log.levels["pm1"]) == 1
    assert count(log.levels["pm10"]) == 10
    assert (log.rows_read, log.rows_skipped, log.cells_skipped) == (10, 0, 9)
    reasons = [skip.reason for skip in log.skipped]
    assert reasons[0] == "“pm1”: “---” marks a value that was not measured"
    assert reasons[1] == "“pm1”: “ERR” is not a number"
    assert reasons[3] == "“pm1”: “OL” marks a level above the range"
    assert reasons[6] == "“pm1”: “-9999” means no value"
    assert reasons[7] == "“pm1”: “<0.5” marks a level below the range"
    assert log.skipped[1].line == 3


def test_infinite_values_in_a_column_of_numbers():
    log = read_text(rows("time,pm1", "2026-01-05 10:00:00,inf", "2026-01-05 10:00:01,2", "2026-01-05 10:00:02,-inf"))
    assert (count(log.levels["pm1"]), log.cells_skipped) == (1, 2)


def test_junk_at_the_end_and_a_half_written_last_line():
    text = rows("time,pm1,pm10", *(f"2026-01-05 10:00:{s:02d},{s},{s}" for s in range(30)), "end of data", "#####")
    log = read_text(text + "2026-01-05 10:00:30,3")
    assert (log.rows_read, log.rows_skipped) == (30, 3)
    assert [(skip.line, skip.reason) for skip in log.skipped] == [
        (32, "no time in “time”"),
        (33, "no time in “time”"),
        (34, "2 of 3 fields: the row is cut off"),
    ]


def test_a_row_cut_off_inside_quotation_marks():
    text = rows('"time","pm1","pm10"', *(f'"2026-01-05 10:00:{s:02d}","{s}","{s}"' for s in range(30)))
    log = read_text(text + '"2026-01-05 10:00:30","3')
    assert (log.rows_read, log.rows_skipped, log.skipped[0].line) == (30, 1, 32)
    assert log.skipped[0].reason == "unclosed quotation mark: the row is cut off"
    shorter = read_text(text + '"2026-01-05 10:00:30","3"')
    assert (shorter.rows_read, shorter.skipped[0].reason) == (30, "2 of 3 fields: the row is cut off")


def test_quotation_marks_that_mislead_a_parser():
    """A mark inside a field is literal, one at its start opens it: two of them look closed and are not."""
    lines = [f"2026-01-05 10:00:{s:02d},{s},fine" for s in range(20)]
    lines[7] = '2026-01-05 10:00:07,7,6"x,"open'
    log = read_text(rows("time,pm1,note", *lines))
    assert (log.rows_read, count(log.levels["pm1"])) == (20, 20)


def test_a_row_with_too_many_fields():
    lines = [f"2026-01-05 10:00:{s:02d},{s}" for s in range(20)]
    lines[5] += "," * 50
    log = read_text(rows("time,pm1", *lines))
    assert (log.rows_read, log.rows_skipped, log.skipped[0].reason) == (19, 1, "52 fields instead of 2")


def test_the_header_again_on_each_page():
    page = ["time,pm1", *(f"2026-01-05 10:00:{s:02d},{s}" for s in range(5))]
    later = ["time,pm1", *(f"2026-01-05 10:00:{s:02d},{s}" for s in range(5, 9))]
    log = read_text(rows(*page, *later))
    assert (log.rows_read, log.rows_skipped, log.skipped[0].reason) == (9, 1, "repeated header")


def test_a_header_that_changes_in_mid_file():
    first = ["time,PM1 (mg/m3),RH", *(f"2026-01-05 10:00:{s:02d},0.{s}1,40" for s in range(6))]
    second = ["time,temp,PM1 (ug/m3)", *(f"2026-01-05 10:01:{s:02d},21,{s}" for s in range(6))]
    log = read_text(rows(*first, *second))
    assert log.rows_read == 12
    assert log.levels["pm1"][:2] == pytest.approx([10, 110])
    assert log.levels["pm1"][6:].tolist() == [0, 1, 2, 3, 4, 5]
    assert (count(log.levels["relative_humidity"]), count(log.levels["temperature"])) == (6, 6)
    assert "The header changes in line 8." in log.notes
    assert {column.header for column in log.columns} == {"time", "PM1 (mg/m3)", "RH", "temp", "PM1 (ug/m3)"}


def test_a_changed_header_that_is_repeated_is_one_table():
    lines = ["time,pm1", "2026-01-05 10:00:00,1"]
    for number in range(1, 60):
        lines += ["time,pm10", f"2026-01-05 10:00:{number:02d},{number}"]
    log = read_text(rows(*lines))
    assert (count(log.levels["pm1"]), count(log.levels["pm10"]), log.rows_read) == (1, 59, 60)
    assert [note for note in log.notes if "header changes" in note] == ["The header changes in line 3."]


def test_preamble_of_any_kind_above_the_header():
    above = ["My logger export", "Serial;000", "a;b;c;d", "Location: lab, bench 3", "", "Average;1 min", "1;2;3"]
    log = read_text(rows(*above, "Date;Time;PM2.5", "2026-01-05;10:00:00;5", "2026-01-05;10:00:01;6"))
    assert (log.header_line, log.levels["pm2_5"].tolist()) == (8, [5, 6])


def test_ten_thousand_columns():
    names = [f"extra {number}" for number in range(10_000)]
    log = read_text(
        rows(
            ",".join(["time", "pm1", *names]),
            ",".join(["2026-01-05 10:00:00", "1", *["0"] * 10_000]),
            ",".join(["2026-01-05 10:00:01", "2", *["0"] * 10_000]),
        )
    )
    assert (len(log.columns), log.levels["pm1"].tolist()) == (10_002, [1, 2])


def test_choices_by_hand_win():
    text = rows("time,A,B,PM10", "2026-01-05 10:00,0.1,21,9", "2026-01-05 10:01,0.2,22,9")
    log = read_text(text, columns={"A": "PM2.5", "B": "temperature", "PM10": ""}, units={"A": "mg/m3"})
    assert {name: levels[0] for name, levels in log.levels.items()} == {"pm2_5": pytest.approx(100), "temperature": 21}
    reasons = {column.header: (column.use, column.reason) for column in log.columns}
    assert reasons["PM10"] == ("left out", "not used (by choice)")
    assert reasons["A"] == ("channel", "set by choice")


def test_a_column_named_as_time_or_box_by_hand():
    text = rows("x,y,PM10", "1,left,9", "2,left,8", "1,right,3", "2,right,2")
    log = read_text(text, columns={"x": "elapsed", "y": "box"}, box="right")
    assert (log.boxes, log.levels["pm10"].tolist(), log.elapsed_s.tolist()) == (("left", "right"), [3, 2], [0, 1])


def test_the_hash_is_that_of_the_bytes():
    """SHA-256 of "abc" is ba7816bf... (FIPS 180-4, example); here the digest of the text is recomputed."""
    import hashlib

    text = rows("time,pm1", "2026-01-05 10:00:00,1", "2026-01-05 10:00:01,2")
    assert hashlib.sha256(b"abc").hexdigest().startswith("ba7816bf8f01cfea")
    assert read_text(text).sha256 == hashlib.sha256(text.encode()).hexdigest()


def test_a_table_with_a_row_for_each_quantity_and_mixed_units():
    lines = ["timestamp,parameter,value,unit"]
    for minute in range(3):
        lines += [
            f"2026-01-05T10:0{minute}:00Z,PM2.5,{minute},ug/m3",
            f"2026-01-05T10:0{minute}:00Z,temperature,50,F",
            f"2026-01-05T10:0{minute}:00Z,PM10,0.{minute}1,mg/m3",
            f"2026-01-05T10:0{minute}:00Z,door,open,",
        ]
    log = read_text(rows(*lines))
    assert log.levels["pm2_5"].tolist() == [0, 1, 2]
    assert log.levels["temperature"] == pytest.approx([10, 10, 10])
    assert log.levels["pm10"] == pytest.approx([10, 110, 210])
    assert len(log.elapsed_s) == 3
    assert np.all(np.diff(log.elapsed_s) == 60)


def test_exports_with_a_row_for_each_change_of_each_sensor():
    lines = ["entity_id,state,last_changed"]
    for minute in range(4):
        lines.append(f"sensor.living_room_pm25,{minute},2026-01-05T10:0{minute}:00.000Z")
        lines.append(f"sensor.living_room_temperature,2{minute}.5,2026-01-05T10:0{minute}:30.000Z")
    lines.append("sensor.living_room_pm25,unavailable,2026-01-05T10:05:00.000Z")
    log = read_text(rows(*lines))
    assert log.levels["pm2_5"][::2].tolist() == [0, 1, 2, 3]
    assert log.levels["temperature"][1::2].tolist() == [20.5, 21.5, 22.5, 23.5]
    fields = read_text(rows("_time,_field,_value", "2026-01-05T10:00:00Z,co2,800", "2026-01-05T10:01:00Z,co2,790"))
    assert fields.levels["co2"].tolist() == [800, 790]


def test_boxes_beside_quantities_in_rows():
    lines = [f"2026-01-05 10:0{m}:00,{box},PM10,{m}" for m in range(3) for box in ("left", "right")]
    log = read_text(rows("time,device,sensor,value", *lines), box="right")
    assert (log.box, log.levels["pm10"].tolist()) == ("right", [0, 1, 2])

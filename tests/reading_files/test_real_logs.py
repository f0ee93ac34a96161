"""Extracts of real logs, and look-alikes of those that may not be copied, against the answers of a right import.

The sources and licences of the extracts stand in tests/data/README.md. Their answers were recomputed with awk and
spreadsheet functions on the extract; the whole files are tested in test_real_logs_in_full.py.
"""

from datetime import datetime, timedelta

import numpy as np
import pytest

from app.reading_files.refusals import ColumnsNotRecognised, SeveralBoxes
from tests.reading_files.reading import EXTRACTS, count, read_extract, read_text, refused, rows, utc


def test_mobility_sizer_has_bins_named_by_a_line_above_the_table():
    log = read_extract("measured/decay_room_release_mobility_sizer_1min.csv")
    assert (log.rows_read, log.header_line, log.levels["count_total"].max()) == (133, 9, 410_170)
    assert log.levels["count_11_5nm"][0] == 82.8508
    assert log.levels["count_86_6nm"][0] == 12_844  # written 1.2844e+4
    uses = {column.header: column.use for column in log.columns}
    assert (uses["Date Time"], uses["Status"], uses["Median (nm)"]) == ("time", "status", "left out")


def test_workshop_boxes_have_two_detectors_and_upload_times():
    with pytest.raises(SeveralBoxes, match=r"line 1: The file has 3 boxes in the column “device”: “unit01”, “unit02”"):
        read_extract("measured/decay_workshop_dust_two_sensors.csv")
    log = read_extract("measured/decay_workshop_dust_two_sensors.csv", box="unit01")
    assert (log.rows_read, count(log.levels["pm2_5"]), count(log.levels["pm2_5_b"])) == (308, 155, 137)
    assert (log.levels["pm2_5"][0], log.levels["pm2_5_b"][0]) == (3, 3.70519)
    assert (log.levels["count_0_3um"][0], log.levels["count_0_38um"][0]) == (44_898, 1_546)
    assert log.box == "unit01"
    assert log.boxes == ("unit01", "unit02", "unit05")
    assert "91 rows have a time but no reading." in log.notes


def test_a_filtered_chamber_is_at_zero_for_long_and_its_readings_count():
    log = read_extract("measured/decay_filtered_chamber_two_sensors.csv", box="unit01")
    assert log.held_values == {}
    assert (log.levels["pm2_5"] == 0).sum() == 20
    assert "41 rows repeat the time of another row: the mean of their readings is used once." in log.notes


def test_tracer_gas():
    log = read_extract("measured/tracer_co2_step_down_2sensors.csv")
    assert (log.rows_read, log.levels["co2"][0], log.levels["co2_b"][0]) == (483, 2_543, 3_283)


def test_outdoor_sensor_with_a_zone_in_a_line_above_the_table():
    log = read_extract("measured/collocation_sensor_1min.csv")
    assert (log.rows_read, log.encoding, log.header_line) == (700, "utf-8 with byte order mark", 7)
    assert (log.timezone, log.started_at) == ("UTC-05:00", utc(2019, 8, 1, 12, 11))
    assert log.units == {
        "no2": "ppb",
        "o3": "ppb",
        "pm2_5": "µg/m³",
        "temperature": "°C",
        "relative_humidity": "%",
        "dew_point": "°C",
    }


def test_reference_with_a_row_for_each_quantity():
    log = read_extract("measured/collocation_reference_1h.csv")
    assert (log.rows_read, len(log.elapsed_s), log.interval_s) == (144, 48, 3_600)
    assert (log.timezone, log.started_at) == ("UTC", utc(2019, 8, 1, 5))
    assert (log.levels["pm2_5"][0], log.levels["relative_humidity"][0]) == (9.9, 82)
    assert log.units["temperature"] == "°C"
    assert [column.header for column in log.columns if column.use == "channel"] == ["PM2.5-88101", "RHUM", "TEMP"]


def test_laboratory_sensors_in_one_file():
    assert read_extract("measured/lab_candle_incense_reference_10s.csv").levels["pm2_5"][0] == pytest.approx(7)
    log = read_extract("measured/lab_candle_incense_lowcost_sensors_1s.csv", box="B1")
    assert (log.rows_read, log.interval_s, log.started_at) == (200, 10, utc(2019, 9, 5, 7, 40, 6))
    with pytest.raises(ColumnsNotRecognised, match="No channel was recognised"):
        read_extract("measured/lab_candle_incense_schedule.csv")


def test_voc_logger_with_a_wrong_clock():
    log = read_extract("messy/messy_voc_logger_semicolon_bom_wrong_clock.csv")
    assert (log.rows_read, log.delimiter, log.header_line, log.clock_is_known) == (911, "semicolon", 15, False)
    assert (log.units["voc"], log.levels["voc"].max()) == ("ppm", 0.3)
    assert "The logger clock shows the year 2945, which is impossible; only elapsed times are used." in log.notes


def test_diffusion_charger_with_decimal_commas():
    log = read_extract("messy/messy_decimal_comma_tab_dayfirst.txt")
    assert (log.rows_read, log.delimiter, log.decimal_mark, log.started_at) == (
        500,
        "tab",
        ",",
        utc(2023, 10, 23, 13, 15, 24),
    )
    assert np.flatnonzero(np.diff(log.elapsed_s) == 70).tolist() == [353]
    assert (log.levels["count_total"][0], log.levels["ldsa"][0]) == (42_313, 44.6)
    assert log.units["count_total"] == "counts"  # the file gives no unit


def test_photometer_agrees_with_the_statistics_in_its_own_header():
    """The header says: PM2.5 average 0.104, minimum 0.062, maximum 0.171 mg/m3."""
    log = read_extract("messy/messy_photometer_header_mg_m3_elapsed.csv")
    level = log.levels["pm2_5"] / 1000
    assert (round(level.mean(), 3), level.min(), level.max()) == (0.104, pytest.approx(0.062), pytest.approx(0.171))
    assert log.started_at == utc(2024, 6, 24, 9, 23, 7)
    assert "The start was taken from the lines above the table." in log.notes


def test_optical_sizer_takes_the_sizes_of_its_bins_from_the_lines_above():
    log = read_extract("messy/messy_optical_sizer_header_elapsed_seconds.csv")
    assert (log.rows_read, log.interval_s, log.started_at) == (120, 60, utc(2023, 10, 23, 13, 32, 34))
    assert (log.levels["count_0_3um"][0], log.levels["count_10um"][0]) == (187, 4)
    assert log.levels["pressure"][0] == pytest.approx(1_008.0)  # 100.800 kPa


def test_optical_counter_with_offsets_in_the_times():
    log = read_extract("messy/messy_optical_counter_iso_offset_2s.csv")
    assert (log.rows_read, log.timezone, log.started_at) == (150, "UTC", utc(2024, 2, 15, 0, 1, 51, 331_868))
    assert (log.levels["count_0_35um"][0], log.levels["count_1um"][0]) == (3_307, 14)
    assert any(note.startswith("The first row covers 26.6 times the period of the others") for note in log.notes)


def test_condensation_counter_in_latin_1():
    log = read_extract("messy/messy_counter_export_latin1_us_dates.txt")
    assert (log.rows_read, len(log.elapsed_s), log.encoding) == (384, 380, "cp1252")
    assert (log.levels["count_total"][0], log.units["count_total"]) == (1_468, "1/cm³")
    left_out = {column.header: column.reason for column in log.columns if column.use == "left out"}
    assert left_out["Min(#/cm³)"] == "a statistic of the readings, not a reading"


def test_logger_with_utc_and_local_times():
    log = read_extract("messy/messy_logger_utc_and_local_time.csv")
    assert (log.rows_read, log.timezone, log.started_at) == (200, "UTC", utc(2026, 6, 16, 9, 24))
    assert "The file also has local times; the times with a known UTC offset were used." in log.notes


def test_sound_levels_over_time_and_tables_that_are_no_logs():
    log = read_extract("sound/sound_det_global_1000ms_comma.csv")
    level = log.levels["sound_level"]
    assert 10 * np.log10(np.mean(10 ** (level / 10))) == pytest.approx(35.42, abs=0.005)
    assert read_extract("sound/sound_det_global_0250ms_comma.csv").interval_s == 0.25
    assert read_extract("sound/sound_det_oct_1000ms_comma.csv").levels["band_31_5hz"][0] == 31.66
    assert read_extract("sound/sound_det_third_1000ms_comma.csv").units["band_12_5khz"] == "dB"
    for name in ("det_global_general_comma", "overall_third_zac_comma", "weighting_a_c_z_third_octave"):
        problem = refused((EXTRACTS / "sound" / f"sound_{name}.csv").read_bytes())
        assert "No table of readings was found" in problem.message or "No column holds times" in problem.message


# Look-alikes of our own making: the originals may not be copied into the project.


def handheld_with_held_values(period: int = 16, wake_ups: int = 20, *, drift: bool = True) -> str:
    """A row a minute, newest first, all quoted; the particle values change only when the sensor wakes up."""
    random = np.random.default_rng(5)
    start = datetime(2026, 2, 3, 20, 0)  # noqa: DTZ001 - a wall clock
    lines, minute, held = [], 0, (300.0, 330.0, 360.0)
    for number in range(wake_ups):
        level = max(4.0, np.rint(300 * 0.6**number))
        settling = (np.rint(level * 1.2 + 1), np.rint(level * 1.3 + 1), np.rint(level * 1.4 + 1))
        settled = (level, np.rint(level * 1.1) + number % 2, np.rint(level * 1.2) + number % 3)
        for row in range(period + int(random.integers(0, 2))):
            held = settling if row == 0 else settled if row == 1 else held
            voc = 0.1 + 0.001 * ((minute * 7) % 50) if drift else 0.1
            time = start + timedelta(minutes=minute)
            values = (time.isoformat(sep=" "), f"{voc:.3f}", "21.5", *(f"{value:.1f}" for value in held), "")
            lines.append(",".join(f'"{value}"' for value in values))
            minute += 1
    head = '"Date","VOC, ppm","Temperature, °C","PM1, ug/m3","PM2.5, ug/m3","PM10, ug/m3","PM2.5 (avg 3h), ug/m3"'
    return rows(head, *reversed(lines))


def test_held_values_are_no_readings():
    log = read_text(handheld_with_held_values(), timezone="Europe/Berlin")
    assert log.levels["pm2_5"].shape == log.elapsed_s.shape
    assert count(log.levels["pm2_5"]) == 20
    assert count(log.levels["voc"]) == log.rows_read
    settling = log.rows_read - 20 - log.held_values["pm2_5"]
    assert 15 <= settling <= 20  # the first value of a wake-up, where it differs from the one before
    there = log.levels["pm1"][~np.isnan(log.levels["pm1"])]
    assert there[:4].tolist() == [300, 180, 108, 65]
    assert any("a true reading comes about every 16 min" in note for note in log.notes)
    assert {column.header: column.reason for column in log.columns}["PM2.5 (avg 3h), ug/m3"].startswith(
        "a running mean"
    )


def monitor_with_events(dates: tuple[str, str]) -> str:
    """Units in a second header line, blank lines, events among the rows, sensors at 5, 10 and 30 s."""
    first, second = dates
    lines = [
        "File Name:,C:\\logs\\box1.csv",
        f"Download Date:,{second}",
        "",
        "Inlet Aerosol Size:,PM2.5",
        "Sensor,Slope,Offset,Log Interval",
        "Nephelometer,3.0000,81,10",
        "Inlet Pressure,4095.0000,0,30,1280,768",
        "",
        "Date,Time,RH-Corrected Nephelometer,Temp,RH,X-axis,Comment",
        "Date,Time,ug/m^3,C, %,g-unit,",
        "",
        f"{first},13:58:50,,,,,Button 2 pressed",
        f"{second},10:00:45,,,,0.58,Start button",
    ]
    for number in range(30):
        seconds = 50 + 5 * number
        clock = f"10:{seconds // 60:02d}:{seconds % 60:02d}"
        particles = f"{number - 4}" if number % 2 == 0 else ""
        temperature = f"{20 + number / 10}" if number % 6 == 0 else ""
        lines.append(f"{second},{clock},{particles},{temperature},,0.5,")
    return "\n".join(lines)  # no line end after the last row


@pytest.mark.parametrize("dates", [("25-Nov-14", "26-Nov-14"), ("11/25/2014", "11/26/2014")])
def test_units_rows_events_and_sparse_columns(dates):
    log = read_text(monitor_with_events(dates))
    assert (log.rows_read, count(log.levels["pm2_5"]), log.levels["pm2_5"][0]) == (32, 15, -4)
    assert (log.started_at, log.interval_s) == (utc(2014, 11, 26, 10, 0, 50), 10)
    assert log.units == {"pm2_5": "µg/m³", "temperature": "°C"}
    assert [skip.text.split(",")[-1] for skip in log.skipped] == ["Button 2 pressed", "Start button"]
    assert log.skipped[0].reason == "no reading: “Button 2 pressed”"
    assert log.rows_skipped == 0


def test_power_without_a_header_out_of_order():
    lines = [f"21/05/2012 00:{s // 60:02d}:{s % 60:02d};{23 + s % 3};{24}" for s in range(0, 300, 5)]
    lines[10], lines[11] = lines[11], lines[10]
    lines.insert(20, lines[20].replace(";", ";1", 1))
    log = read_text(rows(*lines), "power_amplifier.csv")
    assert (log.rows_read, len(log.elapsed_s), log.interval_s, log.header_line) == (61, 60, 5, 0)
    assert list(log.levels) == ["power"]
    assert "One step goes back in time by at most 5 s: rows were sorted." in log.notes
    assert (np.diff(log.elapsed_s) == 5).all()
    same = read_text(rows(*lines), "plug.csv", columns={"column 2": "power"})
    assert (same.levels["power"] == log.levels["power"]).all()
    assert "No channel was recognised" in refused(rows(*lines), "plug.csv").message

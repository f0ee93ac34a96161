"""Real logs, whole, against the import answers that were worked out for them by hand and with other tools.

The files are not part of the project (some may not be copied into it); where their folder is missing the tests are
skipped, and test_real_logs.py reads extracts and look-alike files with the same traps. The answers (rows, first and
last times, means, extremes) stand in the description that came with the files: recomputed there unless the line says
published.
"""

from datetime import timedelta

import numpy as np
import pytest

from app.errors import UnreadableLog
from app.reading_files.refusals import ColumnsNotRecognised, SeveralBoxes
from tests.reading_files.reading import ORIGINALS, count, read_original, utc


def test_handheld_with_held_values():
    """785 rows, newest first; settled PM2.5 readings 23:08 140 to 00:44 4; overnight floor mean 4.2 (recomputed)."""
    log = read_original("decay_bedroom_cleaner_on_handheld_1min.csv", timezone="America/Edmonton")
    assert log.rows_read == 785
    assert log.started_at == utc(2023, 5, 21, 3, 0)
    assert log.interval_s == 60
    level = log.levels["pm2_5"]
    local = [log.started_at + timedelta(seconds=float(second), hours=-6) for second in log.elapsed_s]
    settled = {time.strftime("%H:%M"): value for time, value in zip(local, level, strict=True) if not np.isnan(value)}
    expected = {"23:08": 140, "23:25": 61, "23:40": 22, "23:56": 13, "00:12": 10, "00:28": 6, "00:44": 4}
    assert {time: settled.get(time) for time in expected} == expected
    assert not {time for time in settled if "23:08" < time < "23:59"} - set(expected)
    floor = [value for time, value in settled.items() if "01:00" <= time < "09:30"]
    assert np.mean(floor) == pytest.approx(4.2, abs=0.15)
    assert log.held_values["pm2_5"] > 650
    assert count(level) + log.held_values["pm2_5"] < 785
    assert count(log.levels["voc"]) == 785  # it drifts each minute: no held value
    assert set(log.units.values()) == {"ppm", "°C", "%", "hPa", "µg/m³"}


def test_fixed_outdoor_sensor_needs_its_columns_named():
    """80 rows, 10 min, byte order mark, empty column, two channels without a word for what they are."""
    with pytest.raises(ColumnsNotRecognised, match=r"“Outdoor A”, “Outdoor B”\. Say what one of them holds"):
        read_original("outdoor_dual_channel_10min.csv")
    log = read_original("outdoor_dual_channel_10min.csv", columns={"Outdoor A": "pm2_5", "Outdoor B": "pm2_5_b"})
    assert (log.rows_read, log.interval_s, set(log.levels)) == (80, 600, {"pm2_5", "pm2_5_b"})
    assert log.started_at == utc(2023, 5, 20, 21, 0)


def test_mobility_sizer():
    """133 rows, peak 410 170 at 14:55:04, mean of the first 20 scans 49 425 (recomputed)."""
    log = read_original("decay_room_release_mobility_sizer_1min.csv")
    total = log.levels["count_total"]
    assert log.rows_read == 133
    assert total.max() == 410_170
    assert log.started_at + timedelta(seconds=float(log.elapsed_s[total.argmax()])) == utc(2023, 9, 11, 14, 55, 4)
    assert total[:20].mean() == pytest.approx(49_425, abs=1)
    assert log.units["count_total"] == log.units["count_11_5nm"] == "1/cm³"
    assert len([name for name in log.levels if name.endswith("nm")]) == 13


def test_workshop_with_nineteen_boxes():
    """6 989 rows, 299 exact duplicates, about one row in three with particles, times of the upload (recomputed)."""
    with pytest.raises(SeveralBoxes) as caught:
        read_original("decay_workshop_dust_19units_two_sensors.csv")
    assert caught.value.boxes == tuple(f"unit{number:02d}" for number in range(1, 20))
    logs, silent = {}, []
    for box in caught.value.boxes:
        try:
            logs[box] = read_original("decay_workshop_dust_19units_two_sensors.csv", box=box)
        except UnreadableLog as problem:
            silent.append((box, problem.message))
    assert [box for box, _ in silent] == ["unit05", "unit17"]  # the answers speak of 17 boxes with readings
    assert all(f"No row of box “{box}” has both a time and a reading" in message for box, message in silent)
    with_particles = sum(max(count(log.levels["pm2_5"]), count(log.levels["pm2_5_b"])) for log in logs.values())
    assert with_particles / 6_989 == pytest.approx(1 / 3, abs=0.1)
    assert {round(log.interval_s / 60) for log in logs.values()} == {5}
    assert any("upload" in note for note in logs["unit01"].notes)
    assert all(log.zone_needed and not log.held_values for log in logs.values())


def test_filtered_chamber_stays_at_zero_without_being_held():
    """Exactly 0 for an hour and a half is a reading each time; sensor A whole numbers, sensor B decimals."""
    log = read_original("decay_filtered_chamber_7units_two_sensors.csv", box="unit01")
    assert log.held_values == {}
    assert (log.levels["pm2_5_b"] == 0).sum() >= 10
    whole = log.levels["pm2_5"][~np.isnan(log.levels["pm2_5"])]
    assert (whole == np.rint(whole)).all()


def test_tracer_gas_with_two_sensors():
    """483 rows, 13:46:27 to 14:59:10, steps 7.6 to 10.2 s, sensor 1 ends at 174 ppm (recomputed)."""
    log = read_original("tracer_co2_step_down_2sensors.csv")
    assert log.rows_read == 483
    assert log.started_at == utc(2024, 10, 7, 13, 46, 27, 583_868)
    assert timedelta(seconds=float(log.elapsed_s[-1])) == pytest.approx(
        timedelta(minutes=72, seconds=43), abs=timedelta(seconds=1)
    )
    assert np.diff(log.elapsed_s).min() == pytest.approx(7.6, abs=0.1)
    assert np.diff(log.elapsed_s).max() == pytest.approx(10.2, abs=0.1)
    assert log.levels["co2"][-1] == 174
    assert log.units["co2"] == log.units["co2_b"] == "ppm"


def test_outdoor_sensor_against_its_reference_gives_the_published_statistics():
    """Published: slope 0.82, intercept -1.68, R2 0.52, n 710 (hourly means, at least 75 % of the minutes)."""
    sensor = read_original("collocation_sensor_RT01_1min_raw.csv")
    reference = read_original("collocation_reference_1h.csv")
    assert sensor.rows_read == 42_836
    assert sensor.timezone == "UTC-05:00"
    assert not sensor.zone_needed
    assert reference.timezone == "UTC"
    assert np.sort(np.diff(sensor.elapsed_s))[-4:].min() > 60  # 4 gaps
    assert np.diff(sensor.elapsed_s).max() == pytest.approx(17.4 * 3600, rel=0.01)

    def hours(log):
        start = log.started_at.timestamp()
        return np.floor((start + log.elapsed_s) / 3600).astype(int)

    by_hour: dict[int, list[float]] = {}
    for hour, value in zip(hours(sensor), sensor.levels["pm2_5"], strict=True):
        by_hour.setdefault(int(hour), []).append(value)
    means = {hour: np.mean(values) for hour, values in by_hour.items() if len(values) >= 45}
    pairs = [
        (value, means[int(hour)])
        for hour, value in zip(hours(reference), reference.levels["pm2_5"], strict=True)
        if int(hour) in means and not np.isnan(value)
    ]
    x, y = np.array(pairs).T
    slope, intercept = np.polyfit(x, y, 1)
    assert len(pairs) == 710
    assert slope == pytest.approx(0.82, abs=0.005)
    assert intercept == pytest.approx(-1.68, abs=0.005)
    assert np.corrcoef(x, y)[0, 1] ** 2 == pytest.approx(0.52, abs=0.005)


def test_laboratory_comparison():
    """Reference every 10 s in mg/m3 with 5 values below zero; eight sensors in one file in µg/m³ (recomputed)."""
    reference = read_original("lab_candle_incense_reference_10s.csv")
    assert (reference.rows_read, reference.interval_s, reference.timezone) == (886, 10, "UTC")
    assert (reference.levels["pm2_5"] < 0).sum() == 5
    assert reference.levels["pm2_5"][0] == pytest.approx(7.0)
    with pytest.raises(SeveralBoxes) as caught:
        read_original("lab_candle_incense_lowcost_sensors_1s.csv")
    assert caught.value.boxes == ("A1", "A2", "B1", "C1", "C2", "D1", "E1", "E2")
    steps = {
        box: read_original("lab_candle_incense_lowcost_sensors_1s.csv", box=box).interval_s
        for box in caught.value.boxes
    }
    assert steps == {"A1": 1, "A2": 1, "B1": 10, "C1": 2, "C2": 2, "D1": 1, "E1": 1, "E2": 1}
    with pytest.raises(ColumnsNotRecognised, match="No channel was recognised"):
        read_original("lab_candle_incense_schedule.csv")


def test_voc_logger_with_a_wrong_clock():
    """911 rows, 10 s apart, max 300 ppb at 01:59:24, mean 19.92 ppb, table header in line 15."""
    log = read_original("messy_voc_logger_semicolon_bom_wrong_clock.csv")
    assert (log.rows_read, log.header_line, log.interval_s) == (911, 15, 10)
    assert (np.diff(log.elapsed_s) == 10).all()
    assert not log.clock_is_known
    assert log.started_at == utc(2945, 8, 26, 1, 21, 44)
    voc = log.levels["voc"]
    assert (log.units["voc"], voc.max(), voc.mean()) == ("ppm", 0.3, pytest.approx(0.01992, abs=5e-6))
    peak = log.started_at + timedelta(seconds=float(log.elapsed_s[voc.argmax()]))
    assert peak.strftime("%H:%M:%S") == "01:59:24"


def test_diffusion_charger_with_decimal_commas():
    """14 950 rows, 10 s apart with 42 breaks of 70 s, mean number 19 750.45, max 52 540."""
    log = read_original("messy_decimal_comma_tab_dayfirst.txt")
    assert (log.rows_read, log.delimiter, log.decimal_mark) == (14_950, "tab", ",")
    steps = np.diff(log.elapsed_s)
    assert ((steps == 70).sum(), (steps == 10).sum()) == (42, 14_949 - 42)
    assert log.started_at == utc(2023, 10, 23, 13, 15, 24)
    assert log.started_at + timedelta(seconds=float(log.elapsed_s[-1])) == utc(2023, 10, 25, 7, 28, 54)
    assert log.levels["count_total"].mean() == pytest.approx(19_750.45, abs=0.005)
    assert log.levels["count_total"].max() == 52_540
    assert log.levels["ldsa"][0] == 44.6


def test_photometer_with_elapsed_seconds():
    """234 rows at 10 s, PM2.5 mean 0.1035, min 0.062, max 0.171 mg/m3; test start 09:22:57, 24/06/2024."""
    log = read_original("messy_photometer_header_mg_m3_elapsed.csv")
    level = log.levels["pm2_5"]
    assert (log.rows_read, log.interval_s, log.units["pm2_5"]) == (234, 10, "µg/m³")
    assert (level.mean(), level.min(), level.max()) == (
        pytest.approx(103.5, abs=0.05),
        pytest.approx(62),
        pytest.approx(171),
    )
    assert log.started_at == utc(2024, 6, 24, 9, 23, 7)  # the first reading, 10 s after the start


def test_optical_sizer_with_elapsed_seconds():
    """1 072 rows at 60 s, last at 64 320 s, 11 rows with all bins 0; start 13:31:34 2023/10/23."""
    log = read_original("messy_optical_sizer_header_elapsed_seconds.csv")
    bins = [name for name in log.levels if name.startswith("count_")]
    assert (log.rows_read, log.interval_s, len(bins)) == (1_072, 60, 17)
    assert log.elapsed_s[-1] == 64_320 - 60
    assert log.started_at == utc(2023, 10, 23, 13, 32, 34)
    assert (np.sum([log.levels[name] for name in bins], axis=0) == 0).sum() == 11
    assert {"count_0_3um", "count_10um"} <= set(bins)


def test_optical_counter_with_offsets():
    """3 000 rows, median step 2.002 s (0.39 to 3.62), PM2.5 mean 4.932 µg/m³, min 0, +01:00 in each time."""
    log = read_original("messy_optical_counter_iso_offset_2s.csv")
    steps = np.diff(log.elapsed_s)
    assert (log.rows_read, log.timezone) == (3_000, "UTC")
    assert log.started_at == utc(2024, 2, 15, 0, 1, 51, 331_868)
    assert (np.median(steps), steps.min(), steps.max()) == (
        pytest.approx(2.002, abs=5e-4),
        pytest.approx(0.39, abs=0.005),
        pytest.approx(3.62, abs=0.005),
    )
    assert (log.levels["pm2_5"].mean(), log.levels["pm2_5"].min()) == (pytest.approx(4.932, abs=5e-4), 0)
    assert any("covers" in note for note in log.notes)  # the first row stands for a much longer period


def test_condensation_counter_in_latin_1():
    """384 rows at 1 s, 11:14:29 (1 468) to 11:20:53 (1 311); 4 times occur twice, one step is 2 s and one 5 s."""
    log = read_original("messy_counter_export_latin1_us_dates.txt")
    assert (log.rows_read, len(log.elapsed_s), log.encoding) == (384, 380, "cp1252")
    assert log.started_at == utc(2023, 8, 14, 11, 14, 29)
    assert log.started_at + timedelta(seconds=float(log.elapsed_s[-1])) == utc(2023, 8, 14, 11, 20, 53)
    assert (log.levels["count_total"][0], log.levels["count_total"][-1]) == (1_468, 1_311)
    steps = np.diff(log.elapsed_s)
    assert sorted(set(steps)) == [1, 2, 5]
    assert ((steps == 2).sum(), (steps == 5).sum()) == (1, 1)
    assert log.units["count_total"] == "1/cm³"


def test_logger_with_utc_and_local_times():
    """1 020 rows at 60 s, 2026-06-16 09:24 to 2026-06-17 02:23 UTC; chlorine, which no list foresaw."""
    log = read_original("messy_logger_utc_and_local_time.csv")
    assert (log.rows_read, log.interval_s, log.timezone, log.zone_needed) == (1_020, 60, "UTC", False)
    assert log.started_at == utc(2026, 6, 16, 9, 24)
    assert log.started_at + timedelta(seconds=float(log.elapsed_s[-1])) == utc(2026, 6, 17, 2, 23)
    assert log.units["cl2"] == "ppm"


@pytest.mark.parametrize(
    ("name", "rows", "with_pm", "first_pm", "at"),
    [
        ("messy_personal_monitor_event_rows_dmy.csv", 149, 61, -4, utc(2014, 11, 26, 10, 1, 10)),
        ("messy_personal_monitor_event_rows_mdy.csv", 93, 34, 5, utc(2013, 11, 6, 6, 4, 10)),
    ],
)
def test_personal_monitor_with_event_rows(name, rows, with_pm, first_pm, at):
    """149 rows, 61 with PM, first -4 at 26-Nov-14 10:01:10; 93 rows, 34 with PM, first 5 at 11/6/2013 06:04:10."""
    log = read_original(name)
    there = np.flatnonzero(~np.isnan(log.levels["pm2_5"]))
    assert (log.rows_read, len(there)) == (rows, with_pm)
    assert log.levels["pm2_5"][there[0]] == first_pm
    assert log.started_at + timedelta(seconds=float(log.elapsed_s[there[0]])) == at
    assert any("Button" in skip.text for skip in log.skipped)


def test_sound_over_time():
    """Energy mean of LAeq 35.42 and arithmetic mean 35.28 in the 1 s file; 35.42 and 35.29 in the 0.25 s file."""
    for name, rows, step, arithmetic in (("1000ms", 9, 1, 35.28), ("0250ms", 12, 0.25, 35.29)):
        log = read_original(f"sound/det_global_{name}_comma.csv")
        level = log.levels["sound_level"]
        assert (log.rows_read, log.interval_s, log.units["sound_level"]) == (rows, step, "dB(A)")
        assert 10 * np.log10(np.mean(10 ** (level / 10))) == pytest.approx(35.42, abs=0.005)
        assert level.mean() == pytest.approx(arithmetic, abs=0.005)
    octaves = read_original("sound/det_oct_1000ms_comma.csv")
    assert (len(octaves.levels), octaves.levels["band_1khz"][0]) == (10, 30.83)
    assert read_original("sound/det_third_1000ms_comma.csv").levels["band_6_3hz"][0] == 53.5


@pytest.mark.parametrize(
    "name", ["det_global_general_comma.csv", "overall_third_zac_comma.csv", "weighting_a_c_z_third_octave.csv"]
)
def test_sound_tables_without_times_are_no_logs(name):
    with pytest.raises(UnreadableLog, match=r"No table of readings was found|No column holds times"):
        read_original(f"sound/{name}")


def test_power_of_an_amplifier():
    """18 766 rows, median step 5 s, 39 repeated times, one step back; 26.74 Wh; time-weighted 1.114 W; 1.126 W."""
    log = read_original("power_amplifier_1s_out_of_order.csv")
    power = log.levels["power"]
    assert (log.rows_read, log.rows_read - len(power)) == (18_766, 39)
    assert np.median(np.diff(log.elapsed_s)) == 5
    assert any("One step goes back" in note for note in log.notes)
    energy_wh = np.trapezoid(power, log.elapsed_s) / 3600
    assert energy_wh == pytest.approx(26.74, abs=0.01)
    assert energy_wh / (log.elapsed_s[-1] / 3600) == pytest.approx(1.114, abs=0.001)
    assert power.mean() == pytest.approx(1.126, abs=0.001)
    assert log.started_at == utc(2012, 5, 21, 0, 0, 10)


def test_power_of_a_router():
    """28 690 rows from 2011-12-09 01:00, median step 3 s, only 4 or 6 W, 129.43 Wh, mean 5.628 W."""
    log = read_original("power_network_router_1s_steady_low.csv")
    power = log.levels["power"]
    assert (log.rows_read, np.median(np.diff(log.elapsed_s)), set(power)) == (28_690, 3, {4.0, 6.0})
    assert log.started_at == utc(2011, 12, 9, 1, 0, 1)
    assert log.date_order_unsure  # 09/12/2011: only the semicolons speak for the day first
    assert np.trapezoid(power, log.elapsed_s) / 3600 == pytest.approx(129.43, abs=0.01)
    assert power.mean() == pytest.approx(5.628, abs=5e-4)
    assert log.held_values == {}


def test_a_table_of_another_trade_is_refused():
    with pytest.raises(ColumnsNotRecognised, match="No channel was recognised"):
        read_original("first_order_elimination_6subjects.csv")


def test_no_original_is_left_untested():
    """Each table in the folder is named in this file."""
    if not ORIGINALS.exists():
        pytest.skip("the folder with the original logs does not exist")
    with open(__file__, encoding="utf-8") as file:
        here = file.read()
    tables = [path for path in ORIGINALS.rglob("*") if path.suffix in (".csv", ".txt")]
    assert len(tables) == 30
    shortened = {"det_global_0250ms_comma.csv": '"0250ms"', "det_global_1000ms_comma.csv": '"1000ms"'}
    assert [path.name for path in tables if shortened.get(path.name, path.name) not in here] == []

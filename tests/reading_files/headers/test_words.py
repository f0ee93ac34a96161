"""One line for each kind of header that loggers write, and what it means."""

import pytest

from app.reading_files.headers.words import header_meaning, split_unit
from app.reading_files.text.line_fields import plain_text


@pytest.mark.parametrize(
    ("header", "channel", "unit"),
    [
        ("PM1", "pm1", ""),
        ("PM1.0 (µg/m³)", "pm1", "µg/m³"),
        ("pm_2_5", "pm2_5", ""),
        ("PM2.5_ug/m3", "pm2_5", "ug/m3"),
        ("pm25", "pm2_5", ""),
        ("PM 2,5 [µg/m3]", "pm2_5", "µg/m3"),
        ("sensorA_pm02_5", "pm2_5", ""),
        ("pm10_0", "pm10", ""),
        ("PM10 mg/m³", "pm10", "mg/m³"),
        ("PM4 [mg/m3]", "pm4", "mg/m3"),
        ("TOTAL [mg/m3]", "pm_total", "mg/m3"),
        ("resp_mg_m3", "pm_respirable", "mg/m3"),
        ("Feinstaub", "pm_total", ""),
        ("RH-Corrected Nephelometer", "pm_total", ""),
        (">0.3um", "count_0_3um", ""),
        ("0.3 µm", "count_0_3um", ""),
        ("PM0.3 count (#/L)", "count_0_3um", "#/L"),
        ("Particles > 0.5 µm (#/cm³)", "count_0_5um", "#/cm³"),
        ("sensorB_c00_38", "count_0_38um", ""),
        ("Bin0.35", "count_0_35um", ""),
        ("Bin 3", "count_bin_3", ""),
        ("0.3_um_count", "count_0_3um", ""),
        ("pm0_3_count", "count_0_3um", ""),
        ("particles_03um", "count_0_3um", ""),
        ("nc_pm2_5", "count_2_5um", ""),
        ("P0.3", "count_0_3um", ""),
        ("> 0.5", "count_0_5um", ""),
        ("gt1_0um", "count_1um", ""),
        ("11.5 nm", "count_11_5nm", ""),
        ("0.3-0.5 µm [#/L]", "count_0_3_to_0_5um", "#/L"),
        ("0.5 – 1.0 um (#/cm3)", "count_0_5_to_1um", "#/cm3"),
        ("PM2.5-10 [#/L]", "count_2_5_to_10um", "#/L"),
        ("Bin 1 (0.3 to 0.5 µm)", "count_0_3_to_0_5um", ""),
        ("300-500 nm [#/cm3]", "count_300_to_500nm", "#/cm3"),
        ("count_0_3_to_0_5um [1/cm³]", "count_0_3_to_0_5um", "1/cm³"),
        ("sensor 1-2 count", "count_1um", ""),
        ("N_total", "count_total", ""),
        ("Total Conc", "count_total", ""),
        ("Number", "count_total", ""),
        ("Mean(#/cm³)", "count_total", "#/cm³"),
        ("LDSA", "ldsa", ""),
        ("TVOC", "voc", ""),
        ("VOC, ppm", "voc", "ppm"),
        ("CO₂ (ppm)", "co2", "ppm"),
        ("eCO2", "eco2", ""),
        ("eTVOC (ppb)", "voc", "ppb"),
        ("TSP (µg/m³)", "pm_total", "µg/m³"),
        ("Temp2", "temperature", ""),
        ("W", "power", "W"),
        ("P [W]", "power", "W"),
        ("°C", "temperature", "°C"),
        ("dBA", "sound_level", "dBA"),
        ("Level dB", "sound_level", "dB"),
        ("co2_s1_ppm", "co2", "ppm"),
        ("Temp, °C", "temperature", "°C"),
        ("Temperature.C", "temperature", "C"),
        ("temp_f", "temperature", "f"),
        ("env_temp", "temperature", ""),
        ("T [K]", "temperature", "K"),
        ("Température (°C)", "temperature", "°C"),
        ("DP (°C)", "dew_point", "°C"),
        ("RH.p", "relative_humidity", "%"),
        ("relHumidity", "relative_humidity", ""),
        ("Luftfeuchtigkeit (%)", "relative_humidity", "%"),
        ("env_humid", "relative_humidity", ""),
        ("Ambient Pressure (kPa)", "pressure", "kPa"),
        ("env_press", "pressure", ""),
        ("Luftdruck [hPa]", "pressure", "hPa"),
        ("power_w", "power", "w"),
        ("Leistung (W)", "power", "W"),
        ("Energy (kWh)", "energy", "kWh"),
        ("LAeq", "sound_level", ""),
        ("Sound level (dBA)", "sound_level", "dBA"),
        ("Schallpegel", "sound_level", ""),
        ("1kHz", "band_1khz", ""),
        ("31.5 Hz", "band_31_5hz", ""),
        ("LCeq", "lceq", ""),
    ],
)
def test_headers_that_mean_a_channel(header, channel, unit):
    meaning = header_meaning(header)
    assert (meaning.channel, meaning.unit) == (channel, unit)


@pytest.mark.parametrize(
    ("header", "reason"),
    [
        ("PM2.5 (avg 3h), ug/m3", "a running mean of the readings, not a reading"),
        ("PM10 24h mean", "a running mean of the readings, not a reading"),
        ("pm2.5_10minute", "a running mean of the readings, not a reading"),
        ("apparent power (VA)", "“apparent”: not the active power"),
        ("PM10 min", "a statistic of the readings, not a reading"),
        ("LAFMax", "a statistic of the readings, not a reading"),
        ("Std. Dev.(#/cm³)", "a statistic of the readings, not a reading"),
        ("PM2.5 alarm", "“alarm”: a status"),
        ("Battery (V)", "“battery”: instrument data"),
        ("Air quality index AQI", "“quality”: a status"),
        ("Particle Density (g/cc)", "“density”: an instrument setting"),
        ("power factor", "“factor”: an instrument setting"),
        ("Latitude", "“latitude”: a place"),
        ("apples", "header not recognised"),
    ],
)
def test_headers_that_mean_no_level(header, reason):
    assert header_meaning(header).channel is None
    assert header_meaning(header).reason == reason


@pytest.mark.parametrize(
    ("header", "detector"),
    [
        ("PM2.5 A", ""),
        ("PM2.5 B", "b"),
        ("pm2.5_atm_b", "b"),
        ("sensorB_pm10_0", "b"),
        ("Sensor 2 PM10", "b"),
        ("PM10 (2)", "b"),
        ("co2_s2_ppm", "b"),
        ("PM1", ""),
        ("pm2.5_cf_1", ""),
        ("channel c PM10", "c"),
        ("Box2 PM2.5", "b"),
        ("Temp2", "b"),
        ("co2", ""),
        ("> 0.3", ""),
        ("Temperature.C", ""),
    ],
)
def test_detectors(header, detector):
    assert header_meaning(header).detector == detector


def test_a_unit_of_something_else_keeps_a_word_from_meaning_a_channel():
    assert header_meaning("Humidity (ppb)").channel is None
    assert header_meaning("T (V)").channel is None
    assert header_meaning("T", "°C").channel == "temperature"


def test_the_unit_of_a_line_of_units_counts_where_the_header_has_none():
    assert header_meaning("Temp", "°F").unit == "°F"
    assert header_meaning("Temp (°C)", "°F").unit == "°C"


def test_plain_words():
    assert plain_text("Pressão") == "pressao"
    assert split_unit("Temp (LGR 1, SEN 2), °C (probe)") == ("Temp (LGR 1, SEN 2)", "°C")
    assert split_unit("Elapsed Time [s]") == ("Elapsed Time", "s")
    assert split_unit("PM10 (min)") == ("PM10 (min)", "")

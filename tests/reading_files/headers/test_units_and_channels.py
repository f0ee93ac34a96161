"""Units into the channel's unit, and the open list of channels."""

import pytest

from app.reading_files.headers.channels import CHANNELS, channel, channel_name, is_particle_channel
from app.reading_files.text.unit_symbols import conversion, is_unit, plain_unit, seconds_in, shown_unit


@pytest.mark.parametrize(
    ("unit", "into", "value", "level"),
    [
        ("mg/m³", "µg/m³", 0.104, 104),
        ("°F", "°C", 98.6, 37),
        ("°F", "°C", -40, -40),
        ("K", "°C", 273.15, 0),
        ("#/L", "1/cm³", 1000, 1),
        ("#/ft³", "1/cm³", 28316.846592, 1),
        ("particles/0.1L", "1/cm³", 100, 1),
        ("1/m³", "1/cm³", 1e6, 1),
        ("kPa", "hPa", 101.325, 1013.25),
        ("atm", "hPa", 1, 1013.25),
        ("mmHg", "hPa", 760, 1013.25),
        ("psi", "hPa", 14.6959, 1013.25),
        ("ppb", "ppm", 1500, 1.5),
        ("kW", "W", 0.0125, 12.5),
        ("Wh", "kWh", 109_500, 109.5),
    ],
)
def test_conversions(unit, into, value, level):
    """1 ft = 0.3048 m exactly and so 1 ft³ = 28 316.846592 cm³ (unit_conversions.csv, exact); 37 °C = 98.6 °F and
    one atmosphere = 1013.25 hPa = 760 mmHg = 14.6959 psi by definition or rounding (common knowledge); the rest are
    decimal prefixes."""
    turned = conversion(unit, into)
    assert turned is not None
    assert value * turned.factor + turned.offset == pytest.approx(level, rel=2e-5, abs=1e-9)


@pytest.mark.parametrize(
    ("spellings", "plain"),
    [
        (("µg/m³", "μg/m3", "ug/m^3", "UG/M3", "ug m-3", "µg·m⁻³".replace("⁻³", "-3"), "mcg/m3"), "ug/m3"),
        (("#/cm3", "1/cm³", "cm-3", "p/cc", "particles per cm3", "N/cm3", "/cc", "pt/mL"), "/cm3"),
        (("#/L", "counts/l", "pcs/litre", "1/l"), "/l"),
        (("°C", "degC", "C", "deg C", "Celsius", "℃".replace("℃", "°C")), "c"),
        (("%", "%RH", "% rH", "percent", "PERCENT", "pct"), "%"),
        (("dB(A)", "dBA", "db[A]"), "db(a)"),
    ],
)
def test_spellings(spellings, plain):
    assert {plain_unit(text) for text in spellings} == {plain}


def test_units_of_different_quantities_do_not_mix():
    assert conversion("ppm", "µg/m³") is None
    assert conversion("mg/m³", "ppm") is None
    assert not is_unit("rows")
    assert shown_unit("ppb") == "ppb"
    assert seconds_in("Hours") == 3600


def test_every_listed_channel_has_a_unit_and_a_label():
    """Names and units as outside scripts rely on them."""
    expected = {
        **dict.fromkeys(("pm1", "pm2_5", "pm10", "pm1_b", "pm2_5_b", "pm10_b"), "µg/m³"),
        **dict.fromkeys(("count_0_3um", "count_total"), "1/cm³"),
        **dict.fromkeys(("voc", "co2"), "ppm"),
        **{"temperature": "°C", "relative_humidity": "%", "pressure": "hPa", "power": "W", "sound_level": "dB(A)"},
    }
    assert {name: channel(name).unit for name in expected} == expected
    assert all(about.unit and about.label and about.name == name for name, about in CHANNELS.items())


def test_channels_nobody_foresaw():
    assert (channel("cl2").unit, channel("cl2").is_particle) == ("", False)
    assert (channel("count_11_5nm").label, channel("count_bin_3").label) == (
        "Particle number, 11.5 nm",
        "Particle number, bin 3",
    )
    assert channel("band_31_5hz").label == "Sound level, 31.5 Hz"
    assert channel("lceq").unit == "dB"
    assert channel("co2_b").label == "Carbon dioxide, second detector"


def test_particle_channels():
    particles = {"pm1", "pm10_b", "pm4", "pm_total", "count_0_3um", "count_total_b", "ldsa"}
    others = {"voc", "temperature", "power", "no2", "sound_level", "band_1khz", "lceq"}
    assert {name for name in particles | others if is_particle_channel(name)} == particles


def test_names_from_what_a_person_writes():
    assert [channel_name(text) for text in (" PM 2.5 ", "CO₂", "Relative Humidity", "µ-thing", "…")] == [
        *("pm_2_5", "co2", "relative_humidity", "u_thing", "")
    ]

"""Files that were once read wrongly: a setting as a header, a place as a box, a unit with another prefix."""

import numpy as np
import pytest

from app.compute.wording.numbers import readings_text
from app.services.logs.readings import LogReadings
from app.services.results.analyse_channels import AnalysisTerms, analyse_readings
from tests.reading_files.reading import read_text, refused

DECAY = "\n".join(f"{10 * i},{0.2 * np.exp(-i / 60):.4f},{i % 7}" for i in range(200))


@pytest.mark.parametrize(
    "setting",
    [
        "PM2.5 time constant = 5 s, Photometric Factor B = 1.00, PM2.5 Factor C = ---",
        "Test time,Factor B = 1.00,PM2.5 Factor C = ---",
        "Time constant = 1 s,PM2.5 Factor A=---,x",
    ],
)
def test_a_setting_of_the_logger_is_no_header(setting):
    table = read_text(f"{setting}\nElapsed Time [s],PM10 [mg/m3],Location\n{DECAY}")
    assert list(table.levels) == ["pm10"]
    assert [column.header for column in table.columns] == ["Elapsed Time [s]", "PM10 [mg/m3]", "Location"]
    without_header = refused(f"{setting}\n{DECAY}".encode())
    assert "Factor C = ---=" not in without_header.message
    assert "No table of readings was found" in without_header.message


def numbered_places(first_header: str = "Time,PM2.5 [µg/m³],RH [%]") -> str:
    """A header without a place, and from the middle on one whose place has thirteen numbers."""
    first = [f"2026-03-01 10:00:{i:02d},{200 - i},45" for i in range(20)]
    later = [f"2026-03-01 10:01:{i:02d},{180 - i},45,{i % 13}" for i in range(40)]
    return "\n".join([first_header, *first, "Time,PM2.5 [µg/m³],RH [%],Location", *later])


def test_numbers_of_places_after_a_change_of_header_are_no_boxes():
    table = read_text(numbered_places())
    assert table.boxes == ()
    assert len(table.elapsed_s) == 60
    assert "The header changes in line 22." in table.notes
    assert "The column “Location” numbers 13 places of one device; all its rows are one log." in table.notes


def test_places_that_log_at_the_same_moments_are_boxes():
    lines = [f"2026-03-01 10:00:{i:02d},{place},{200 - i}" for i in range(30) for place in (1, 2)]
    assert "The file has 2 boxes" in refused("\n".join(["Time,Location,PM2.5", *lines]).encode()).message


def test_numbers_of_devices_are_boxes_even_if_their_moments_differ():
    lines = [f"2026-03-01 10:00:{i:02d},{i % 2},{200 - i}" for i in range(30)]
    assert "The file has 2 boxes" in refused("\n".join(["Time,Sensor ID,PM2.5", *lines]).encode()).message


def test_a_chosen_place_is_a_box_as_before():
    assert len(read_text(numbered_places(), box="3").elapsed_s) < 60


def charger_log(header: str) -> str:
    rows = [
        f"2026-03-01 {10 + t // 3600}:{t % 3600 // 60:02d}:{t % 60:02d},{5 + 300 * np.exp(-t / 900):.2f},3"
        for t in range(0, 4000, 10)
    ]
    return "\n".join([header, *rows])


@pytest.mark.parametrize("unit", ["um2/cm3", "µm²/cm³", "um2/ccm", "μm²/cm3"])
def test_the_surface_area_of_a_charger_sensor_is_analysed(unit):
    table = read_text(charger_log(f"Time,LDSA [{unit}],Charger current [nA]"))
    assert table.units["ldsa"] == "µm²/cm³"
    assert not any(column.reason.endswith("assumed") for column in table.columns)
    assert table.levels["current"][0] == pytest.approx(3e-9)  # not 3 A
    found = analyse_readings(LogReadings(table.elapsed_s, table.levels, table.units), AnalysisTerms())
    rate = found.decays["ldsa"].fit.decay_rate
    assert rate.low_95 <= 4.0 * 1.001
    assert rate.value == pytest.approx(4.0, rel=0.01)  # 3600 s over 900 s


def test_one_reading_has_no_interval():
    table = read_text("Time,PM2.5 [µg/m³]\n2026-03-01 10:00:00,200")
    assert readings_text(len(table.elapsed_s), table.interval_s) == "1 reading"

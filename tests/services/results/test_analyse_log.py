"""The analysis of a file without a store, field by field as outside scripts rely on it."""

import json
import math
from datetime import datetime, timedelta

import pytest

from app.compute.method import METHOD_NAME, METHOD_VERSION
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue, NoDecayFound, UnreadableLog
from app.reading_files.log_table import ReadingChoices
from app.services.results.analyse_log import AnalysisRequest, LogFile, analyse_log
from app.services.results.analysis_json import analysis_json, measured_json
from tests.conftest import NOW, decay_log

ROOM = Measured(30.0, 0.5)
CHANNEL_FIELDS = {
    "verdict",
    "unit_on_min",
    "systematic",
    "unit",
    "start_level",
    "start_level_measured",
    "background_level",
    "background_level_measured",
    "fit_window_min",
    "readings_fitted",
    "total_decay_per_h",
    "natural_decay_per_h",
    "clean_air_delivery_rate_m3_per_h",
    "clean_air_delivery_rate_cfm",
    "air_changes_per_h",
    "time_to_clear_min",
    "standard_clearing_time_min",
    "r_squared",
    "notes",
}
MEASURED_FIELDS = {"value", "uncertainty", "low_95", "high_95"}


def analysed(content: bytes = decay_log(6.0), **told) -> dict:
    request = AnalysisRequest(**({"room_volume": ROOM, "natural_decay": Measured(0.5, 0.05)} | told))
    return analysis_json(analyse_log(LogFile(content, "run.csv"), request))


def test_the_shape_is_that_of_the_contract():
    found = analysed()
    assert set(found) == {"method", "log", "channels"}
    assert found["method"] == {"name": METHOD_NAME, "version": METHOD_VERSION}
    log = found["log"]
    assert set(log) == {
        "sha256", "readings", "rows_skipped", "interval_s", "started_at", "channels", "notes"
    }  # fmt: skip
    assert len(log["sha256"]) == 64
    assert (log["readings"], log["rows_skipped"], log["interval_s"]) == (451, 0, 10.0)
    assert log["started_at"] == "2026-03-02T09:00:00Z"
    assert log["channels"] == ["pm1", "pm2_5", "pm10"]
    assert list(found["channels"]) == ["pm1", "pm2_5", "pm10"]
    for channel in found["channels"].values():
        assert set(channel) == CHANNEL_FIELDS
        for field in ("total_decay_per_h", "natural_decay_per_h", "clean_air_delivery_rate_m3_per_h",
                      "clean_air_delivery_rate_cfm", "air_changes_per_h", "standard_clearing_time_min"):  # fmt: skip
            assert set(channel[field]) == MEASURED_FIELDS
        assert set(channel["time_to_clear_min"]) == {
            "reached", "value", "uncertainty", "low_95", "high_95", "not_before", "predicted"
        }  # fmt: skip
        assert set(channel["verdict"]) == {"status", "reasons", "advice"}
        for note in channel["notes"]:
            assert set(note) == {"code", "severity", "message"}
            assert note["severity"] in ("fine", "care", "unusable")
    json.dumps(found, allow_nan=False)


def test_the_numbers_are_those_that_the_log_was_made_with():
    """A log made here with k = 6 per hour, background 4 and start level 300; no published answer."""
    channel = analysed()["channels"]["pm2_5"]
    assert channel["total_decay_per_h"]["value"] == pytest.approx(6.0, rel=0.02)
    assert channel["background_level"] == pytest.approx(4.0, abs=0.6)
    assert channel["start_level"] == pytest.approx(300.0, rel=0.06)
    assert channel["natural_decay_per_h"]["value"] == 0.5
    rate = channel["clean_air_delivery_rate_m3_per_h"]
    assert rate["value"] == pytest.approx(30 * (channel["total_decay_per_h"]["value"] - 0.5), rel=1e-12)
    assert rate["low_95"] < rate["value"] < rate["high_95"]
    # exact by the definition of the foot: 1 m³/h is 0.588577778691 ft³/min
    assert channel["clean_air_delivery_rate_cfm"]["value"] == pytest.approx(rate["value"] * 0.588577778691, rel=1e-11)
    assert channel["air_changes_per_h"]["value"] == pytest.approx(rate["value"] / 30, rel=1e-12)
    time = channel["standard_clearing_time_min"]["value"]
    assert time == pytest.approx(60 * math.log(20) / channel["total_decay_per_h"]["value"], rel=1e-12)
    clear = channel["time_to_clear_min"]
    assert clear["reached"] is True
    assert clear["not_before"] is None
    assert clear["value"] == pytest.approx(60 * math.log(296 / 6) / 6.0, abs=2.0)
    start, end = channel["fit_window_min"]
    assert 0 <= start < end <= 60
    assert channel["readings_fitted"] > 100
    assert channel["r_squared"] > 0.99


def test_a_level_never_reached_is_a_lower_bound():
    clear = analysed(decay_log(0.5, minutes=120))["channels"]["pm2_5"]["time_to_clear_min"]
    assert clear["reached"] is False
    assert clear["value"] is None
    assert clear["not_before"] == pytest.approx(120, abs=1.5)


def test_without_natural_decay_the_rate_is_null_with_a_note():
    channel = analysed(natural_decay=None)["channels"]["pm2_5"]
    assert channel["natural_decay_per_h"] is None
    assert channel["clean_air_delivery_rate_m3_per_h"] is None
    assert channel["clean_air_delivery_rate_cfm"] is None
    assert channel["air_changes_per_h"] is None
    assert channel["total_decay_per_h"] is not None
    assert "natural_decay_missing" in [note["code"] for note in channel["notes"]]


def test_empty_room_logs_give_the_natural_decay():
    logs = tuple(
        LogFile(decay_log(rate, minutes=180, seed=day, started_at=NOW + timedelta(days=day)), f"e{day}.csv")
        for day, rate in enumerate((0.45, 0.50, 0.55))
    )
    channel = analysed(natural_decay=None, empty_rooms=logs)["channels"]["pm2_5"]
    assert channel["natural_decay_per_h"]["value"] == pytest.approx(0.5, rel=0.1)
    notes = {note["code"]: note["message"] for note in channel["notes"]}
    assert "The natural decay is based on 3 empty-room runs" in notes["natural_decay_runs"]


def test_an_empty_room_log_without_a_decay_is_left_out_with_a_note():
    flat = decay_log(0.0, start_level=4.0, rise_min=1.0)
    channel = analysed(natural_decay=None, empty_rooms=(LogFile(flat, "flat.csv"),))["channels"]["pm2_5"]
    notes = {note["code"]: note["message"] for note in channel["notes"]}
    if "natural_decay_run_unusable" in notes:
        assert channel["natural_decay_per_h"] is None
        assert notes["natural_decay_run_unusable"] == (
            "The empty-room log flat.csv gave no decay rate for pm2_5 and was not used."
        )
    else:  # a rate that noise gave: it is then shown with its uncertainty
        assert channel["natural_decay_per_h"]["uncertainty"] > 0


def test_channels_can_be_chosen():
    assert list(analysed(channels=("pm10",))["channels"]) == ["pm10"]
    with pytest.raises(InvalidValue) as refused:
        analysed(channels=("voc",))
    assert refused.value.message == (
        "run.csv has no channel 'voc'; its channels are: pm1, pm2_5, pm10. Choose one of these, or assign a column "
        "with --columns COLUMN=CHANNEL."
    )


def test_a_log_without_particles_is_told():
    content = decay_log(6.0, channels=("Temperature [°C]",), shares=(1.0,))
    with pytest.raises(
        NoDecayFound,
        match=r"run\.csv has no particle channel; its channels are: "
        r"temperature\. Name the",
    ):
        analysed(content)


def test_a_log_without_a_decay_is_told():
    with pytest.raises(NoDecayFound, match=r"run\.csv has no decay that can be analysed\. pm2_5: "):
        analysed(b"time,PM2.5 [ug/m3]\n2026-01-01T10:00:00Z,5\n2026-01-01T10:00:10Z,6\n2026-01-01T10:00:20Z,7\n")


def test_a_file_that_is_no_log_is_told():
    with pytest.raises(UnreadableLog):
        analysed(b"Dear reader,\nthis is a letter.\n")


@pytest.mark.parametrize("when", ["20min", "20.0 min", "2026-03-02T09:20:00Z", "2026-03-02T10:20:00+01:00"])
def test_unit_on_is_taken_from_a_time_or_from_minutes(when: str):
    clear = analysed(unit_on=when, end="70min")["channels"]["pm2_5"]["time_to_clear_min"]
    found = analysed()["channels"]["pm2_5"]["time_to_clear_min"]
    assert found["value"] - clear["value"] == pytest.approx(5.0, abs=0.8)


def test_a_time_without_a_zone_is_one_of_the_log():
    local = decay_log(6.0).replace(b"Z,", b",")
    told = analysed(local, unit_on="2026-03-02T09:20:00", choices=ReadingChoices(timezone="Europe/Berlin"))
    assert told["log"]["started_at"] == "2026-03-02T08:00:00Z"
    assert told["channels"]["pm2_5"]["time_to_clear_min"]["value"] == pytest.approx(33.5, abs=1.5)


@pytest.mark.parametrize(
    ("told", "message"),
    [
        (
            {"unit_on": "soon"},
            "Unit on is 'soon'; enter an ISO 8601 time such as 2026-01-05T10:30Z, or minutes from the "
            "first reading such as 12.5min.",
        ),
        (
            {"unit_on": "500min"},
            "Unit on is '500min', 500.0 min after the first reading; the log runs from 0 to 75.0 min. "
            "Give a time within the log.",
        ),
        (
            {"unit_on": "30min", "end": "20min"},
            "The run end is at 20 min and unit on at 30 min; the end must be after unit on. Correct one of the two.",
        ),
    ],
)
def test_a_moment_that_cannot_be_is_refused(told: dict, message: str):
    with pytest.raises(InvalidValue) as refused:
        analysed(**told)
    assert refused.value.message == message


def test_a_time_in_a_log_with_a_wrong_clock_is_refused():
    content = decay_log(6.0, started_at=datetime.fromisoformat("2945-01-01T00:00:00+00:00"))
    found = analysed(content)
    assert found["log"]["started_at"] is None
    with pytest.raises(InvalidValue, match=r"but the log has no reliable clock\. Give"):
        analysed(content, unit_on="2945-01-01T00:20:00Z")


def test_a_told_background_and_clear_level_are_used():
    channel = analysed(background=3.0, clear_level=30.0)["channels"]["pm2_5"]
    assert channel["background_level"] == pytest.approx(3.0, abs=0.5)
    assert channel["time_to_clear_min"]["value"] == pytest.approx(60 * math.log(296 / 26) / 6.0, abs=1.5)


def test_what_was_taken_as_exact_is_said():
    notes = analysed(volume_is_exact=True, natural_decay=Measured(0.5, 0.0))["channels"]["pm2_5"]["notes"]
    codes = {note["code"] for note in notes}
    assert {"room_volume_taken_as_exact", "natural_decay_taken_as_exact"} <= codes


def test_counts_get_a_clear_level_of_their_own():
    content = decay_log(6.0, channels=("Number [1/cm³]",), shares=(100.0,))
    channel = analysed(content)["channels"]["count_total"]
    assert "clear_level_is_a_share" in [note["code"] for note in channel["notes"]]
    # 5 % of the level at unit on, with a background of 4/300
    wanted = 60 * math.log(296 / (15 - 4)) / 6.0
    assert channel["time_to_clear_min"]["value"] == pytest.approx(wanted, abs=1.5)


def test_a_quantity_that_does_not_exist_is_null():
    assert measured_json(None) is None
    assert measured_json(Measured(1.0, 0.0, math.inf)) == {
        "value": 1.0,
        "uncertainty": 0.0,
        "low_95": 1.0,
        "high_95": 1.0,
    }


def test_each_log_is_read_and_analysed_once(work_counted: dict[str, int]):
    analysed(natural_decay=None, empty_rooms=(LogFile(decay_log(0.6, minutes=180), "empty.csv"),))
    assert work_counted == {"reads": 2, "analyses": 6}

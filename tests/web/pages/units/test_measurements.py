"""Sound, power and ozone of a unit through their forms, and the trash of units."""

import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench
from tests.web.pages.adding_a_trial.trial_forms import message_by


def sound(bench: SmallBench, **changed: str) -> dict[str, str]:
    return {
        "setting": str(bench.high_setting_id),
        "sound_dba": "48,5",
        "background_dba": "31",
        "distance_m": "1",
        "environment": "indoor",
        "instrument_class": "2",
        "measured_on": "2026-02-01",
        "measured_by": "Ada",
    } | changed


def test_a_sound_level_is_stored_and_taken_back_with_a_reason(client: TestClient, small_bench: SmallBench):
    address = f"/units/{small_bench.unit_id}/sound"
    assert "No sound measurements yet." in client.get(address).text
    assert "can damage hearing" in client.get(address).text
    assert client.post(address, data=sound(small_bench)).status_code == 303
    page = client.get(address).text
    assert "<td>48.5</td><td>31</td><td>1</td>" in page
    assert "dB(A) at 1 m" in page
    refused = client.post(f"{address}/1/take-back", data={"why": ""})
    assert refused.status_code == 422
    assert "The reason for removal is empty" in refused.text
    assert client.post(f"{address}/1/take-back", data={"why": "wrong unit"}).status_code == 303
    assert "<td>48.5</td>" not in client.get(address).text
    assert "wrong unit" in client.get("/changes").text


@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"setting": ""}, "setting", "No setting selected"),
        ({"sound_dba": "loud"}, "sound_dba", "enter a number such as 12.5"),
        ({"sound_dba": "400"}, "sound_dba", "enter a number from 0 to 140 dB(A)"),
        ({"distance_m": ""}, "distance_m", "The distance is missing"),
        ({"distance_m": "0"}, "distance_m", "enter a number from 0.01 to 100 m"),
        ({"measured_on": "yesterday"}, "measured_on", "enter a date such as 2026-03-31"),
        ({"environment": "cave"}, "environment", "choose one of: indoor, free field"),
    ],
)
def test_a_wrong_sound_level_is_refused_by_its_field(
    client: TestClient, small_bench: SmallBench, changed: dict[str, str], field: str, message: str
):
    answer = client.post(f"/units/{small_bench.unit_id}/sound", data=sound(small_bench, notes="kept", **changed))
    assert answer.status_code == 422
    assert message in message_by(answer.text, field)
    assert ">kept</textarea>" in answer.text
    assert "added: sound level" not in client.get("/changes").text


def test_watts_are_stored_for_a_setting_and_for_standby(client: TestClient, small_bench: SmallBench):
    address = f"/units/{small_bench.unit_id}/power"
    assert "Mains electricity can kill" in client.get(address).text
    common = {"power_uncertainty_w": "0.2", "measured_on": "2026-02-01", "measured_by": "Ada"}
    high = {"setting": str(small_bench.high_setting_id), "power_w": "42.5"} | common
    assert client.post(address, data=high).status_code == 303
    assert client.post(address, data={"setting": "0", "power_w": "0.4"} | common).status_code == 303
    page = client.get(address).text
    assert "42.50 ± 0.20" in page
    assert '<th scope="row">standby</th>' in page


def test_a_power_log_is_kept_and_its_mean_over_time_stored(client: TestClient, small_bench: SmallBench):
    """30 W for one minute and 60 W for two: 50 W over the three minutes (arithmetic)."""
    lines = ["time,Power (W)"]
    for second in range(0, 181, 10):
        watts = 30 if second < 60 else 60
        lines.append(f"2026-02-01T10:{second // 60:02d}:{second % 60:02d}Z,{watts}")
    address = f"/units/{small_bench.unit_id}/power"
    answer = client.post(
        address,
        data={"setting": str(small_bench.low_setting_id), "measured_by": "Ada"},
        files={"log": ("plug.csv", "\n".join(lines).encode(), "text/csv")},
    )
    assert answer.status_code == 303, answer.text
    row = client.get(address).text.split('<th scope="row">low</th><td>')[1]
    assert float(row.split(" ")[0]) == pytest.approx(50, abs=1.0)
    assert "<td>log</td>" in row


def test_power_needs_watts_or_a_log_and_not_both(client: TestClient, small_bench: SmallBench):
    address = f"/units/{small_bench.unit_id}/power"
    neither = client.post(address, data={"setting": "0"})
    assert neither.status_code == 422
    assert "Enter either the meter reading or the meter log." in message_by(neither.text, "power_w")
    both = client.post(address, data={"setting": "0", "power_w": "3"}, files={"log": ("a.csv", b"x", "text/csv")})
    assert "Enter either the meter reading or the meter log." in message_by(both.text, "power_w")
    assert "No setting selected" in message_by(client.post(address, data={"power_w": "3"}).text, "setting")
    wrong = client.post(address, data={"setting": "0"}, files={"log": ("a.csv", b"no log", "text/csv")})
    assert wrong.status_code == 422
    assert "a.csv" in message_by(wrong.text, "log")


def test_an_ozone_test_is_recorded(client: TestClient, small_bench: SmallBench):
    address = f"/units/{small_bench.unit_id}/ozone"
    assert "ask a doctor" in client.get(address).text
    fields = {"ozone_ppb": "2", "below_detection": "1", "ozone_tested_on": "2026-02-01", "ozone_method": "ultraviolet"}
    assert client.post(address, data=fields).status_code == 303
    assert '<th scope="row">less than 2</th>' in client.get(address).text
    refused = client.post(address, data=fields | {"ozone_ppb": ""})
    assert "The ozone is missing" in message_by(refused.text, "ozone_ppb")
    assert client.post(f"{address}/1/take-back", data={"why": "another unit"}).status_code == 303
    assert "less than 2<" not in client.get(address).text


def test_a_unit_goes_to_the_trash_and_comes_back(client: TestClient, small_bench: SmallBench):
    address = f"/units/{small_bench.unit_id}"
    assert client.post(f"{address}/trash", data={"trash_why": "sold"}).headers["location"] == address
    assert "In the trash" in client.get(f"{address}/edit").text
    assert client.get("/api/units").json()["units"] == []
    assert client.post(f"{address}/untrash").status_code == 303
    assert len(client.get("/api/units").json()["units"]) == 1
    assert client.post(f"{address}/untrash").status_code == 422


def test_a_unit_that_is_not_there(client: TestClient):
    for what in ("sound", "power", "ozone"):
        assert client.get(f"/units/9/{what}").status_code == 404


def test_a_power_log_whose_header_does_not_tell_is_read_by_its_column_and_zone(
    client: TestClient, small_bench: SmallBench
):
    lines = [f"2026-02-01 10:{minute:02d}:00,{40 + minute % 2}" for minute in range(60)]
    log = ("when,mystery\n" + "\n".join(lines) + "\n").encode()

    def send(**told: str):
        files = {"log": ("meter.csv", log, "text/csv")}
        fields = {"setting": str(small_bench.high_setting_id), "measured_by": "Ada"} | told
        return client.post(f"/units/{small_bench.unit_id}/power", data=fields, files=files)

    refused = send()
    assert refused.status_code == 422
    assert "meter.csv" in refused.text
    assert send(power_column="mystery", timezone="Europe/Berlin").status_code == 303
    page = client.get(f"/units/{small_bench.unit_id}/power").text
    assert "<td>log</td>" in page
    assert "40.5" in page

"""Decay rate by particle size of a logger that counts in bins, on the page, in the API and as a chart."""

import csv
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import NOW, SmallBench
from tests.sample_data.size_bins import HEIGHT_M, RATES, log_of_bins, settling_per_h
from tests.web.page_checks import faults_of


def test_settling_at_known_sizes():
    assert settling_per_h(1.0) * HEIGHT_M / 36 == pytest.approx(0.0035, rel=0.2)  # cm/s; slip adds 16 % at 1 µm
    assert settling_per_h(10.0) * HEIGHT_M / 36 == pytest.approx(0.31, rel=0.05)


@pytest.fixture
def trial(client: TestClient, small_bench: SmallBench) -> dict[str, Any]:
    told = {"kind": "empty room", "room_id": small_bench.room_id}
    answer = client.post("/api/trials", data=told, files={"log": ("bins.csv", log_of_bins())})
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_rates_of_bins_rise_as_settling_does(client: TestClient, trial: dict[str, Any]):
    """Each interval holds the rate that was simulated, and the chart shows the numbers of the API."""
    channels = trial["channels"]
    assert set(channels) == set(RATES)
    for name, rate in RATES.items():
        found = channels[name]["total_decay_per_h"]
        assert found["low_95"] < rate < found["high_95"], name
    assert channels["count_0_3_to_0_5um"]["particle_size"] == {"low_um": 0.3, "high_um": 0.5}
    assert channels["count_10um"]["particle_size"] == {"low_um": 10.0, "high_um": None}
    figure = client.get(f"/figures/rates-by-size.json?trial={trial['id']}").json()
    assert figure["layout"]["xaxis"]["type"] == "log"
    rows = list(csv.DictReader(StringIO(client.get(f"/charts/rates-by-size.csv?trial={trial['id']}").text)))
    assert [float(row["particle_size_um"]) for row in rows] == pytest.approx([0.387, 0.707, 1.58, 5.0, 10.0], rel=1e-2)
    shown = [channels[name]["total_decay_per_h"] for name in RATES]
    assert [float(row["total_decay_per_h"]) for row in rows] == pytest.approx([each["value"] for each in shown])
    page = client.get(f"/trials/{trial['id']}").text
    assert faults_of(page) == []
    assert "per hour above 10 µm. The 95 % intervals of these two do not overlap." in page


def test_a_trial_without_sizes_has_no_such_chart(client: TestClient, small_bench: SmallBench):
    log = f"time,PM2.5 [µg/m³],>0.3 µm [#/L]\n{NOW.isoformat()},5,70\n{(NOW + timedelta(seconds=9)).isoformat()},5,70\n"
    told = {"kind": "empty room", "room_id": small_bench.room_id}
    trial = client.post("/api/trials", data=told, files={"log": ("one.csv", log.encode())}).json()
    assert trial["channels"]["pm2_5"]["particle_size"] is None
    assert "particle size" not in client.get(f"/trials/{trial['id']}").text
    assert client.get(f"/figures/rates-by-size.json?trial={trial['id']}").status_code == 200

"""Decay rate by particle size of a logger that counts in bins, on the page, in the API and as a chart."""

import csv
from datetime import timedelta
from io import StringIO
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from tests.conftest import NOW, SmallBench
from tests.web.page_checks import faults_of

# Header, channel, and the diameter of its particles [µm].
BINS = (
    ("0.3-0.5 µm [#/L]", "count_0_3_to_0_5um", 0.39),
    ("0.5 - 1.0 µm [#/L]", "count_0_5_to_1um", 0.71),
    ("1-2.5 µm [#/L]", "count_1_to_2_5um", 1.6),
    ("2.5–10 µm [#/L]", "count_2_5_to_10um", 5.0),
    (">10 µm [#/L]", "count_10um", 10.0),
)
HEIGHT_M = 2.5


def settling_per_h(diameter_um: float) -> float:
    """Loss rate of stirred settling, v/H, of water-like spheres. v = ρ d² g / (18 η): Stokes' law for air at 20 °C
    (Hinds, Aerosol Technology: 0.0035 cm/s at 1 µm and 0.31 cm/s at 10 µm, with slip; from memory)."""
    velocity_m_per_s = 1000 * (diameter_um * 1e-6) ** 2 * 9.81 / (18 * 1.81e-5)
    return 3600 * velocity_m_per_s / HEIGHT_M


RATES = {channel: 0.3 + settling_per_h(diameter) for _, channel, diameter in BINS}


def test_settling_at_known_sizes():
    assert settling_per_h(1.0) * HEIGHT_M / 36 == pytest.approx(0.0035, rel=0.2)  # cm/s; slip adds 16 % at 1 µm
    assert settling_per_h(10.0) * HEIGHT_M / 36 == pytest.approx(0.31, rel=0.05)


@pytest.fixture
def trial(client: TestClient, small_bench: SmallBench) -> dict[str, Any]:
    """An empty-room run of an hour, with ten minutes before the smoke."""
    rng = np.random.default_rng(11)
    time_s = np.arange(-600.0, 3600.0, 10.0)
    columns = []
    for _, channel, _ in BINS:
        level = 20 + 20_000 * np.exp(-RATES[channel] * np.maximum(time_s, 0) / 3600) * (time_s >= 0)
        columns.append(level * (1 + 0.02 * rng.standard_normal(time_s.size)))
    lines = [",".join(["time", *(header for header, _, _ in BINS)])]
    for place, second in enumerate(time_s):
        cells = [f"{column[place]:.0f}" for column in columns]
        lines.append(",".join([(NOW + timedelta(seconds=600 + float(second))).isoformat(), *cells]))
    told = {"kind": "empty room", "room_id": small_bench.room_id}
    answer = client.post("/api/trials", data=told, files={"log": ("bins.csv", "\n".join(lines).encode())})
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

"""What following live runs costs: 1 Hz × 16 channels × 8 rooms, with the page of each room open.

    python -m tests.bench.live_bench             # a minute; Linux, because it reads /proc

A real server gets a lot of two readings from every room each two seconds, as the watch command sends them, into runs
that are an hour old, and sends the stream of every room. Printed is its processor time as a share of one core, and
that of one watch command for a file of an hour.
"""

import argparse
import os
import tempfile
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import numpy as np

from app.command_line.watch.follow import Follower
from app.command_line.watch.followed_log import FollowedLog
from app.reading_files.headers.channels import channel
from app.reading_files.log_table import ReadingChoices
from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from tests.faults.real_process import Served

ROOMS, OLD_S, LOT_S = 8, 3600, 2
AIM_PERCENT = 10.0
CHANNELS = (
    *("pm1", "pm2_5", "pm10", "pm4", "pm2_5_b", "count_0_3um", "count_0_5um", "count_1um", "count_2_5um", "count_5um"),
    *("count_10um", "voc", "co2", "temperature", "relative_humidity", "pressure"),
)


def readings(begun: datetime, first_s: int, last_s: int) -> list[dict[str, Any]]:
    """Readings of a run whose unit came on after 15 minutes, one a second."""
    rng = np.random.default_rng(first_s)
    found = []
    for second in range(first_s, last_s):
        level = 5 + 400 * np.exp(-2.0 * max(second - 900, 0) / 3600) * (second > 600)
        values = level * (1 + 0.02 * rng.standard_normal(len(CHANNELS)))
        row = dict(zip(CHANNELS, np.round(values, 2).tolist(), strict=True)) | {"relative_humidity": 41.0}
        found.append({"time": (begun + timedelta(seconds=second)).isoformat()} | row)
    return found


class Room(threading.Thread):
    """A logger that sends its lots in time, or a page that reads the stream of its run."""

    def __init__(self, server: Served, run_id: int, begun: datetime, until: float, *, reads: bool) -> None:
        super().__init__(daemon=True)
        self.server, self.run_id, self.begun, self.until, self.reads = server, run_id, begun, until, reads
        self.received = 0

    def run(self) -> None:
        with self.server.client(30) as client:
            self._read(client) if self.reads else self._send(client)

    def _read(self, client: httpx.Client) -> None:
        last: dict[str, str] = {}
        while time.monotonic() < self.until:
            with client.stream("GET", f"/api/runs/{self.run_id}/stream", headers=last) as answer:
                for line in answer.iter_lines():
                    self.received += line.startswith("event: readings")
                    if line.startswith("id: "):
                        last = {"Last-Event-ID": line[4:]}
                    if time.monotonic() >= self.until:
                        return

    def _send(self, client: httpx.Client) -> None:
        second = OLD_S
        while time.monotonic() < self.until:
            began = time.monotonic()
            lot = {"readings": readings(self.begun, second, second + LOT_S)}
            address = f"/api/runs/{self.run_id}/readings"
            client.post(address, json=lot, headers={"Idempotency-Key": f"from {second}"}).raise_for_status()
            second += LOT_S
            time.sleep(max(LOT_S - (time.monotonic() - began), 0.0))


def processor_s(pid: int) -> float:
    """Processor time that a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def server_percent(folder: Path, seconds: float) -> tuple[float, int]:
    """Share of one core that the server needs, and events that the pages got."""
    engine = open_store(Settings(folder))
    with session_scope(engine) as session:
        for number in range(ROOMS):
            add_room(session, NewRoom(name=f"Room {number}", length_m=4, width_m=3, height_m=2.5))
    engine.dispose()
    server = Served(folder)
    try:
        begun = datetime.now(UTC) - timedelta(seconds=OLD_S)
        runs = []
        with server.client(60) as client:
            for number in range(ROOMS):
                started = client.post("/api/runs", json={"room": f"Room {number}", "kind": "empty room"})
                runs.append(started.raise_for_status().json()["id"])
                for first in range(0, OLD_S, 600):
                    lot = {"readings": readings(begun, first, first + 600)}
                    client.post(f"/api/runs/{runs[-1]}/readings", json=lot).raise_for_status()
                client.post(f"/api/runs/{runs[-1]}/events", json={"kind": "mixing fan off"}).raise_for_status()
        until = time.monotonic() + 5 + seconds
        rooms = [Room(server, run_id, begun, until, reads=reads) for run_id in runs for reads in (True, False)]
        for room in rooms:
            room.start()
        time.sleep(5)  # the first events hold the whole run
        before, began = processor_s(server.process.pid), time.monotonic()
        time.sleep(max(until - 1 - began, 0.0))
        used, passed = processor_s(server.process.pid) - before, time.monotonic() - began
        for room in rooms:
            room.join(60)
        return 100 * used / passed, sum(room.received for room in rooms)
    finally:
        server.stop()


class _Acknowledging:
    """A bench that acknowledges everything at once."""

    url = ""

    def post(self, path: str, body: dict[str, Any], key: str = "") -> dict[str, Any]:
        if path == "/api/runs":
            return {"id": 1, "timezone": "UTC", "first_reading_at": None, "room": {"name": "Room"}}
        return {"file_requested": False, "conflicts": 0}

    def get(self, path: str) -> dict[str, Any]:
        return {"status": "open", "file_requested": False}


def watch_percent(folder: Path, looks: int = 20) -> float:
    """Share of one core that one watch command needs for a file of an hour that grows by two lines each two seconds."""
    head = ",".join(["time", *(f"{name} [{channel(name).unit}]" for name in CHANNELS)])
    lines = [",".join(map(str, row.values())) for row in readings(datetime.now(UTC), 0, OLD_S + 2 * looks)]
    path = folder / "room.csv"
    path.write_text("\n".join([head, *lines[:OLD_S]]) + "\n")
    log = FollowedLog(path)
    follower = Follower(
        client=_Acknowledging(),  # type: ignore[arg-type]
        log=log,
        conditions={"room": "Room"},
        choices=ReadingChoices(),
        say=lambda _message: None,
    )
    follower.step()
    began = time.process_time()
    for look in range(looks):
        with path.open("a") as file:
            file.write("\n".join(lines[OLD_S + 2 * look : OLD_S + 2 * look + 2]) + "\n")
        follower.step()
    log.close()
    return 100 * (time.process_time() - began) / (looks * LOT_S)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "bench").mkdir()
        percent, events = server_percent(Path(folder) / "bench", seconds)
        watch = watch_percent(Path(folder))
    print(f"server, {ROOMS} rooms × 1 Hz × {len(CHANNELS)} channels, {ROOMS} pages: {percent:.1f} % of one core")
    print(f"    ({events} events with readings were sent; aim: under {AIM_PERCENT:g} %)")
    print(f"watch command, one file of {OLD_S} lines: {watch:.1f} % of one core")


if __name__ == "__main__":
    main()

"""Kills the server while readings of two live runs are sent, and looks for every acknowledged one."""

import random
import sqlite3
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx

from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from tests.faults.bench_under_load import make_bench
from tests.faults.killing.kills import Kills, OnKill, no_progress, no_traceback, none
from tests.faults.real_process import Served
from tests.faults.whole_store import faults_of

BEGUN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
_LOT = 5


class Sender(threading.Thread):
    """Sends lots of one reading a second to a run, and repeats each until it is acknowledged or the server is gone."""

    def __init__(self, server: Served, run_id: int, first: int) -> None:
        super().__init__(daemon=True)
        self.server, self.run_id, self.next = server, run_id, first
        self.acknowledged: list[tuple[int, float]] = []

    def run(self) -> None:
        with self.server.client(30) as client:
            while True:
                numbers = range(self.next, self.next + _LOT)
                lot = [
                    {"time": (BEGUN + timedelta(seconds=n)).isoformat(), "pm2_5": 100.0 + n / 7 + self.run_id}
                    for n in numbers
                ]
                try:
                    answer = client.post(
                        f"/api/runs/{self.run_id}/readings",
                        json={"readings": lot},
                        headers={"Idempotency-Key": f"from {self.next}"},
                    )
                except httpx.HTTPError:
                    return
                if answer.status_code == 200:
                    self.acknowledged += [(n, reading["pm2_5"]) for n, reading in zip(numbers, lot, strict=True)]
                    self.next += _LOT


def kill_during_live_runs(folder: Path, kills: int, chance: random.Random, on_kill: OnKill = no_progress) -> Kills:
    """Kills the server while two loggers send; each goes on with the lot that had no answer."""
    met = Kills("readings of live runs")
    store = make_bench(folder)
    _second_room(folder)
    server = Served(folder)
    try:
        runs = [_start(server, room) for room in ("Room A", "Room B")]
        told: dict[int, list[tuple[int, float]]] = {run_id: [] for run_id in runs}
        following = dict.fromkeys(runs, 0)
        for _ in range(kills):
            senders = [Sender(server, run_id, following[run_id]) for run_id in runs]
            for sender in senders:
                sender.start()
            time.sleep(chance.uniform(0.3, 1.5))
            server.kill()
            for sender in senders:
                sender.join(60)
                told[sender.run_id] += sender.acknowledged
                following[sender.run_id] = sender.next
            met.killed(
                "between answers" if any(sender.acknowledged for sender in senders) else "before the first answer"
            )
            server = Served(folder)
            met.started(server)
            none(faults_of(store))
            for run_id in runs:
                none(missing_readings(store, run_id, told[run_id]))
            on_kill(met)
    finally:
        server.stop()
    no_traceback(folder)
    met.acknowledged = sum(len(each) for each in told.values())
    return met


def missing_readings(store: Path, run_id: int, told: list[tuple[int, float]]) -> list[str]:
    """Acknowledged readings that are not in the store, or have another value."""
    with sqlite3.connect(store) as opened:
        rows = opened.execute("SELECT at_us, value_01 FROM live_readings WHERE run_id = ?", (run_id,))
        found = dict(rows.fetchall())
    begun = (BEGUN - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    return [
        f"reading {number} of run {run_id} was acknowledged as {level} and is {found.get(begun + 1_000_000 * number)}"
        for number, level in told
        if found.get(begun + 1_000_000 * number) != level
    ]


def _second_room(folder: Path) -> None:
    engine = open_store(Settings(folder))
    with session_scope(engine) as session:
        add_room(session, NewRoom(name="Room B", length_m=3, width_m=3, height_m=2.5))
    engine.dispose()


def _start(server: Served, room: str) -> int:
    with server.client(60) as client:
        answer = client.post("/api/runs", json={"room": room, "kind": "empty room"}).raise_for_status()
    return int(answer.json()["id"])

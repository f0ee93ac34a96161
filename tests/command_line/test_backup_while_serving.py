"""`hazefall backup` beside a real server that accepts trials meanwhile: the backup is complete, contains every trial
acknowledged before it began, and can be restored and served.
"""

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from app.command_line.main import run
from app.settings import Settings
from tests.conftest import SmallBench, decay_log
from tests.faults.real_process import Served

BACKUPS = 3


class _Writer(threading.Thread):
    """Sends new trials until stopped; `acknowledged` are the ids of those answered with 201."""

    def __init__(self, server: Served, room_id: int) -> None:
        super().__init__()
        self.server, self.room_id = server, room_id
        self.acknowledged: list[int] = []
        self.refused: list[str] = []
        self.enough = threading.Event()

    def run(self) -> None:
        seed = 100
        while not self.enough.is_set():
            seed += 1
            answer = httpx.post(
                f"{self.server.url}/api/trials",
                headers=self.server.headers,
                data={"kind": "empty room", "room_id": str(self.room_id)},
                files={"log": (f"run{seed}.csv", decay_log(0.6, minutes=30, seed=seed), "text/csv")},
                timeout=60,
            )
            if answer.status_code == 201:
                self.acknowledged.append(answer.json()["id"])
            else:
                self.refused.append(answer.text)


def test_copies_made_while_the_server_writes_hold_all_that_was_acknowledged(
    settings: Settings, small_bench: SmallBench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    server = Served(settings.data_folder)
    writer = _Writer(server, small_bench.room_id)
    writer.start()
    try:
        copies = []
        for number in range(BACKUPS):
            while len(writer.acknowledged) < 2 * (number + 1) and writer.is_alive():
                writer.enough.wait(0.05)
            known = list(writer.acknowledged)
            copy = tmp_path / f"copy{number}.sqlite"
            assert run(["backup", str(copy), "--data", str(settings.data_folder)]) == 0
            assert "verified" in capsys.readouterr().out
            copies.append((copy, known))
        assert run(["check", "--data", str(settings.data_folder)]) == 0  # beside the server too
    finally:
        writer.enough.set()
        writer.join()
        server.stop()
    assert writer.refused == []
    for copy, known in copies:
        with closing(sqlite3.connect(copy)) as store:
            held = {row[0] for row in store.execute("SELECT id FROM trials")}
            assert set(known) <= held <= set(writer.acknowledged)
            assert store.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    newest, known = copies[-1]
    other = tmp_path / "other"
    assert run(["restore", str(newest), "--data", str(other)]) == 0
    assert run(["check", "--data", str(other)]) == 0
    again = Served(other)
    try:
        assert httpx.get(f"{again.url}/api/trials/{known[-1]}", headers=again.headers, timeout=60).status_code == 200
        raw = httpx.get(f"{again.url}/api/trials/{known[0]}/log", headers=again.headers, timeout=60).content
        assert raw.startswith(b"time,")
    finally:
        again.stop()

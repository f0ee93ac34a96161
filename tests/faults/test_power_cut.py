"""A power cut takes back whatever the disk has not been told to keep, so each acknowledged write is synced before.

The system calls of a real server are traced with strace.
"""

import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.conftest import decay_log, sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.faults.real_process import Served, served
from tests.sample_data.photos import DOCUMENT

pytestmark = sqlite_only

STRACE = shutil.which("strace")
ABOUT = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1, "setting": "high"}
_SYNCED = re.compile(r"f(?:data)?sync\(\d+<(?P<path>[^>]*)>")


@contextmanager
def traced(server: Served, trace: Path) -> Iterator[Path]:
    """The syncs of a server, one line for each, while the block runs."""
    if STRACE is None:
        pytest.skip("strace is not installed; this test counts system calls with it.")
    with (trace.parent / "strace.said").open("w") as said:
        command = [STRACE, "-f", "-y", "-e", "trace=fsync,fdatasync", "-o", str(trace), "-p", str(server.process.pid)]
        process = subprocess.Popen(command, stderr=said)
    try:
        _wait_until_attached(process, trace.parent / "strace.said")
        yield trace
    finally:
        process.terminate()
        process.wait(20)


def _wait_until_attached(process: subprocess.Popen[bytes], said: Path) -> None:
    for _ in range(200):
        if "attached" in said.read_text():
            return
        if process.poll() is not None:
            pytest.skip(f"strace may not trace processes here: {said.read_text().strip()}")
        time.sleep(0.05)
    pytest.fail("strace did not attach.")


def synced(trace: Path) -> list[str]:
    """Paths of the files and folders that were synced so far, in order."""
    return [found["path"] for line in trace.read_text().splitlines() if (found := _SYNCED.search(line))]


def test_nothing_is_acknowledged_before_it_is_on_the_disk(tmp_path: Path):
    folder = tmp_path / "bench"
    store = make_bench(folder)
    with served(folder) as server, server.client(60) as client, traced(server, tmp_path / "trace") as trace:
        client.get("/").raise_for_status()
        reading = len(synced(trace))
        for number in range(3):
            log = {"log": (f"{number}.csv", decay_log(4.0, minutes=30, seed=number), "text/csv")}
            before = len(synced(trace))
            assert client.post("/api/trials", files=log, data=ABOUT).status_code == 201
            assert f"{store}-wal" in synced(trace)[before:]
        for change in ({"notes": "seen"}, {"marks": {"unit_on_s": 900.0}}):
            before = len(synced(trace))
            assert client.patch("/api/trials/1", json=change).status_code == 200
            assert f"{store}-wal" in synced(trace)[before:]
        receipt = {"file": ("receipt.pdf", DOCUMENT, "application/pdf")}
        run = {"room_id": 1, "unit_under_test_id": 1, "setting": "high"}
        for address, given in (
            ("/api/units/1/attachments", {"files": receipt, "data": {"shows": "receipt"}}),
            ("/api/runs", {"json": run}),
            ("/api/runs/1/readings", {"json": {"readings": [{"time": f"{datetime.now(UTC):%FT%TZ}", "pm2_5": 5.0}]}}),
            ("/api/runs/1/events", {"json": {"kind": "smoke lit"}}),
        ):
            before = len(synced(trace))
            answer = client.post(address, **given)
            assert answer.is_success, answer.text
            assert f"{store}-wal" in synced(trace)[before:], address
    assert reading == 0  # and pages cost none


def test_an_upload_that_waits_and_its_name_are_on_the_disk(tmp_path: Path):
    folder = tmp_path / "bench"
    make_bench(folder)
    with served(folder) as server, server.client(60) as client, traced(server, tmp_path / "trace") as trace:
        answer = client.post("/trials/add", files={"log": ("run.csv", decay_log(4.0), "text/csv")})
        assert answer.status_code == 303
        found = synced(trace)
    token = answer.headers["location"].rpartition("/")[2].partition("?")[0]
    of_upload = [path for path in found if "/uploads" in path]
    assert of_upload.index(f"{folder}/uploads/{token}.json") < of_upload.index(f"{folder}/uploads/{token}.unfinished")
    assert of_upload[-1] == f"{folder}/uploads"

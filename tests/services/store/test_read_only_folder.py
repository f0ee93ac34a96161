"""`backup`, `check` and `restore` of a bench in a folder that cannot be written, such as a mounted snapshot."""

import hashlib
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.services.store.backup import verify_copy
from tests.conftest import decay_log, sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.faults.real_process import Served, run_command
from tests.sample_data.disk_in_memory import disk_in_memory

pytestmark = sqlite_only

ABOUT = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1, "setting": "high"}


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A disk in memory that a test can make read-only."""
    with disk_in_memory(tmp_path / "disk", 60) as mounted:
        yield mounted


def _make_read_only(disk: Path) -> dict[str, str]:
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    return _content(disk)


def _content(disk: Path) -> dict[str, str]:
    return {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in disk.rglob("*") if path.is_file()}


@pytest.mark.parametrize("killed", [False, True])
def test_they_work_and_leave_the_folder_as_it_is(disk: Path, tmp_path: Path, killed: bool):
    """After a usual end of the server the store is one file; after a kill the last trial is in the write-ahead log."""
    folder = disk / "bench"
    make_bench(folder)
    server = Served(folder)
    with server.client(60) as client:
        log = {"log": ("run.csv", decay_log(4.0, minutes=30), "text/csv")}
        assert client.post("/api/trials", files=log, data=ABOUT).status_code == 201
    server.kill() if killed else server.stop()
    assert (folder / "bench.sqlite-wal").exists() == killed
    before = _make_read_only(disk)
    copy = tmp_path / "copy.sqlite"
    said = run_command("backup", str(copy), "--data", str(folder))
    assert (said.returncode, said.stderr) == (0, ""), said.stderr
    assert verify_copy(copy)["trials"] == 1
    checked = run_command("check", "--data", str(folder))
    assert checked.returncode == 0, checked.stderr
    assert "1 trials, 1 logs" in checked.stdout
    assert "The store is OK." in checked.stdout
    restored = run_command("restore", str(folder / "bench.sqlite"), "--data", str(tmp_path / "restored"))
    assert (restored.returncode, restored.stderr) == (0, "")
    assert verify_copy(tmp_path / "restored" / "bench.sqlite")["trials"] == 1
    assert _content(disk) == before


def test_a_backup_into_the_folder_itself_says_what_to_do(disk: Path):
    make_bench(disk / "bench")
    _make_read_only(disk)
    said = run_command("backup", "--data", str(disk / "bench"))
    assert said.returncode == 1
    assert "Read-only file system" in said.stderr
    assert "Choose another place for it" in said.stderr

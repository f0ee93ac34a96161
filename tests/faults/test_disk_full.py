"""A full disk: the message says what to do, nothing is half-stored, and work continues once there is space.

The small disk is a file system in memory, where one may be mounted. The limit on the size of files works everywhere,
and has the store fail with another error of the operating system.
"""

import errno
import io
import os
import re
import resource
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import httpx
import pytest

from app.command_line.main import run
from app.services.access import local_secret
from app.services.store.open import open_store
from app.settings import Settings
from app.web.application import make_app
from tests.conftest import decay_log, sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.faults.killing.older_store import make_older_store, revision_of, rows_of_each_table
from tests.faults.real_process import Served, served
from tests.faults.whole_store import ask, faults_of
from tests.sample_data.disk_in_memory import disk_in_memory
from tests.sample_data.local_access import local_browser
from tests.storage.migrated import BEFORE_FIRST, REVISIONS

pytestmark = sqlite_only

LOG = decay_log(4.0, minutes=60, interval_s=1.0)  # some 200 kB, and as much again in readings
FORM = {"log": ("run.csv", LOG, "text/csv")}
ABOUT = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1, "setting": "high"}


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 8 MB."""
    with disk_in_memory(tmp_path / "disk", 8) as mounted:
        yield mounted


def test_a_full_disk_is_told_and_harms_nothing(small_disk: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    folder = small_disk / "bench"
    store = make_bench(folder)
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "run.csv").write_bytes(LOG)
    given = ["--maker", "Maker", "--model", "Model 1", "--setting", "high", "--room", "Room A", "--data", str(folder)]
    with served(folder) as server:
        _fill(small_disk)
        answer = _send(server)
        assert answer.status_code == 503
        problem = answer.json()
        assert problem["type"] == "/api/problems/store-problem"
        assert "disk is full" in problem["detail"]
        assert problem["detail"].endswith("Free disk space and try again.")
        page = httpx.post(f"{server.url}/trials/add", files=FORM, headers=server.headers)
        assert page.status_code == 503
        assert "there is not enough space" in page.text
        assert "Free disk space and try again." in page.text
        assert httpx.get(server.url, headers=server.headers).status_code == 200  # reading goes on
        for arguments in (["import", str(tmp_path / "logs"), *given], ["backup", "--data", str(folder)]):
            assert run(arguments) == 1
            assert "full" in capsys.readouterr().err
        assert ask(store, "SELECT count(*) FROM trials") == [(0,)]
        assert faults_of(store) == []
        assert list((folder / "backups").glob("*")) == []
        (small_disk / "filler").unlink()
        assert _send(server).status_code == 201
        assert "Traceback" not in server.said()
    assert faults_of(store) == []
    assert ask(store, "SELECT count(*) FROM trials") == [(1,)]


@pytest.mark.parametrize("command", [["serve", "--port", "0"], ["link"]])
def test_the_secret_of_a_bench_finds_no_room(
    tmp_path: Path, command: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    open_store(Settings(tmp_path)).dispose()
    before = sorted(tmp_path.iterdir())
    monkeypatch.setattr(local_secret.os, "fdopen", _no_room)
    assert run([*command, "--data", str(tmp_path)]) == 1
    assert capsys.readouterr().err == (
        f"hazefall {command[0]}: {tmp_path / 'local-secret'} cannot be written: there is not enough space (No space "
        "left on device). Nothing was saved in this step. Free disk space and try again.\n"
    )
    assert sorted(tmp_path.iterdir()) == before


def _no_room(handle: int, *_: object, **__: object):
    os.close(handle)
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_copy_of_a_bench_finds_no_room(small_disk: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    store = make_bench(tmp_path / "bench")
    with closing(sqlite3.connect(store)) as connection:
        rows = [(f"{number:064x}", 10**6, os.urandom(10**6), "2026-03-02 09:00:00") for number in range(12)]
        connection.executemany("INSERT INTO raw_files VALUES (?, ?, ?, ?)", rows)
        connection.commit()
    assert run(["copy-store", str(tmp_path / "bench"), str(small_disk / "copy")]) == 1
    assert capsys.readouterr().err == (
        "hazefall copy-store: The copy cannot grow: the disk is full. Nothing was saved in this step. Free disk space "
        "and try again.\n"
    )


def test_a_migration_without_room_leaves_the_store_as_it_was(
    small_disk: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    folder = small_disk / "bench"
    folder.mkdir()
    make_older_store(make_bench(tmp_path / "present"), folder / "bench.sqlite", BEFORE_FIRST)
    rows = rows_of_each_table(folder / "bench.sqlite")
    _fill(small_disk, but=200_000)
    assert run(["serve", "--data", str(folder), "--port", "0"]) == 1
    assert "Make room on the disk" in capsys.readouterr().err
    (small_disk / "filler").unlink()
    assert revision_of(folder / "bench.sqlite") == BEFORE_FIRST
    assert rows_of_each_table(folder / "bench.sqlite") == rows
    open_store(Settings(folder)).dispose()
    assert revision_of(folder / "bench.sqlite") == REVISIONS[-1]
    assert faults_of(folder / "bench.sqlite") == []


def test_every_command_that_writes_elsewhere_says_that_disk_is_full(
    small_disk: Path, demo_template: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """With the same status, and without half a file."""
    data = tmp_path / "demo"
    data.mkdir()
    store = shutil.copyfile(demo_template, data / "bench.sqlite")
    _fill(small_disk, but=300_000)  # so that each begins to write
    there = ["--data", str(data)]
    for arguments in (
        ["package", str(small_disk / "out.zip"), *there],
        ["backup", str(small_disk / "copy.sqlite"), *there],
        ["restore", str(store), "--data", str(small_disk / "restored")],
        ["copy-store", str(data), str(small_disk / "copied")],
        ["publish", str(small_disk / "site"), *there],
    ):
        assert run(arguments) == 1, arguments
        said = capsys.readouterr().err
        assert re.search("not enough space|disk is full|No space left", said), said
        assert "Traceback" not in said
        for left in ("restored", "copied"):  # may hold an empty folder
            shutil.rmtree(small_disk / left, ignore_errors=True)
        assert [path.name for path in small_disk.iterdir()] == ["filler"], arguments


def test_every_command_on_a_store_on_a_full_disk_says_so(
    small_disk: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    """SQLite cannot even make its files beside the store there, and calls that an error of the disk."""
    folder = small_disk / "bench"
    make_bench(folder)
    _fill(small_disk)
    for arguments in (
        ["check"],
        ["recompute"],
        ["serve", "--port", "0"],
        ["backup"],
        ["package", str(small_disk / "out.zip")],
        ["publish", str(small_disk / "site")],
        ["account", "add", "Ann", "--role", "edit"],
        ["token", "list"],
    ):
        monkeypatch.setattr("sys.stdin", io.StringIO("a long enough password\n"))
        assert run([*arguments, "--data", str(folder)]) == 1, arguments
        (said,) = capsys.readouterr().err.splitlines()
        assert "cannot grow: the disk is full" in said
        assert said.endswith("Free disk space and try again.")


def test_a_package_that_does_not_fit_in_temporary_space_is_told(
    demo_template: Path, small_disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    data = tmp_path / "demo"
    data.mkdir()
    shutil.copyfile(demo_template, data / "bench.sqlite")
    settings = Settings(data)
    monkeypatch.setattr("app.web.pages.downloads.package._IN_MEMORY", 1_000)
    monkeypatch.setattr(tempfile, "tempdir", str(small_disk))
    with local_browser(make_app(settings), settings) as client:
        _fill(small_disk, but=300_000)
        answer = client.get("/package.zip")
        assert answer.status_code == 503
        assert "there is not enough space" in answer.text
        (small_disk / "filler").unlink()
        assert client.get("/package.zip").status_code == 200


def test_a_file_that_may_not_grow_is_told_and_harms_nothing(tmp_path: Path):
    folder = tmp_path / "bench"
    store = make_bench(folder)
    with served(folder) as server:
        assert httpx.get(server.url, headers=server.headers).status_code == 200
        _, hard = resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, (100_000, hard))
        answer = _send(server)
        assert answer.status_code == 503
        assert "Nothing was saved in this step." in answer.json()["detail"]
        page = httpx.post(f"{server.url}/trials/add", files=FORM, headers=server.headers)
        assert page.status_code == 503
        assert "there is not enough space" in page.text
        assert httpx.get(server.url, headers=server.headers).status_code == 200
        resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, (hard, hard))
        assert _send(server).status_code == 201
        assert "Traceback" not in server.said()
    assert faults_of(store) == []
    assert ask(store, "SELECT count(*) FROM trials") == [(1,)]


def _send(server: Served) -> httpx.Response:
    return httpx.post(f"{server.url}/api/trials", files=FORM, data=ABOUT, headers=server.headers, timeout=60)


def _fill(disk: Path, but: int = 0) -> None:
    """Fills a disk to its last byte, or leaves so many bytes."""
    with suppress(OSError), (disk / "filler").open("wb", buffering=0) as filler:
        while True:
            filler.write(b"\0" * 4096)
    if but:
        with (disk / "filler").open("r+b") as filler:
            filler.truncate((disk / "filler").stat().st_size - but)

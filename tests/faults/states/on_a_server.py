"""A database server that is ended and started again under a running program."""

import os
import pwd
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from pathlib import Path

import httpx
import psycopg

from app.services.store.copy import copy_store
from tests.conftest import NOW, decay_log
from tests.faults.bench_under_load import make_bench
from tests.faults.real_process import served

_FOLDERS = "/usr/lib/postgresql/*/bin"


class Cluster:
    """A PostgreSQL cluster of its own, which can be ended at any moment. It waits for the disk, as a real one does."""

    def __init__(self, folder: Path) -> None:
        found = sorted(Path("/").glob(_FOLDERS.lstrip("/")))
        if not found:
            raise FileNotFoundError("the programs of PostgreSQL are not installed")
        self._bin, self._data = found[-1], folder / "data"
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self._port = free.getsockname()[1]
        if os.getuid() == 0:  # root may not run it
            folder.chmod(0o755)
            os.chown(folder, pwd.getpwnam("postgres").pw_uid, -1)
        self._run("initdb", "-U", "postgres", "--auth-host=trust", "--encoding=UTF8", "--locale=C.UTF-8")

    @property
    def url(self) -> str:
        return f"postgresql://postgres@127.0.0.1:{self._port}/postgres"

    def start(self) -> None:
        options = f"-p {self._port} -c listen_addresses=127.0.0.1 -c unix_socket_directories=''"
        self._run("pg_ctl", "-w", "-s", "-l", str(self._data.parent / "log"), "-o", options, "start")

    def stop(self, how: str) -> None:
        self._run("pg_ctl", "-w", "-s", "-m", how, "stop")

    def _run(self, name: str, *arguments: str) -> None:
        command = [str(self._bin / name), "-D", str(self._data), *arguments]
        if os.getuid() == 0:
            command = ["runuser", "-u", "postgres", "--", *command]
        subprocess.run(command, check=True, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


@contextmanager
def running(cluster: Cluster) -> Iterator[Cluster]:
    cluster.start()
    try:
        yield cluster
    finally:
        with suppress(subprocess.CalledProcessError):
            cluster.stop("immediate")


def database_server_restarted(place: Path) -> tuple[int, str]:
    """Ended at once, three times, while a person sends logs and repeats each with its key until an answer says yes."""
    home = place / "cluster"
    home.mkdir()
    place.chmod(0o755)
    sent: dict[int, int] = {}
    refused: list[str] = []
    over = threading.Event()
    make_bench(place / "file")
    with running(Cluster(home)) as cluster:
        copy_store(f"sqlite:///{place / 'file' / 'bench.sqlite'}", cluster.url)
        with served(place / "bench", options=["--database", cluster.url]) as server:

            def send() -> None:
                with server.client(120) as client:
                    for seed in range(1, 1000):
                        if over.is_set():
                            return
                        _until_yes(client, seed, sent, refused)

            sender = threading.Thread(target=send)
            sender.start()
            for number in range(1, 4):
                _wait(lambda n=number: len(sent) >= 3 * n)
                cluster.stop("immediate")
                time.sleep(1.0)
                cluster.start()
            _wait(lambda: len(sent) >= 12)
            over.set()
            sender.join(120)
            assert "Traceback" not in server.said(), server.said()[-2000:]
        with psycopg.connect(cluster.url) as connection:
            stored = connection.execute("SELECT id FROM trials").fetchall()
    assert len(set(sent.values())) == len(sent), "two logs were answered with one trial"
    missing = set(sent.values()) - {row[0] for row in stored}
    assert not missing, f"acknowledged and missing: {sorted(missing)}"
    assert len(stored) <= len(sent) + 1, "a repeated upload was stored twice"
    return len(sent), f"3 restarts; {len(refused)} answers 503, each repeated with its key and stored once"


def _until_yes(client: httpx.Client, seed: int, sent: dict[int, int], refused: list[str]) -> None:
    log = decay_log(4.0, minutes=30, interval_s=10.0, seed=seed, started_at=NOW + timedelta(days=seed))
    about = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1, "setting": "high"}
    for _ in range(100):
        answer = client.post(
            "/api/trials",
            files={"log": (f"{seed}.csv", log, "text/csv")},
            data=about,
            headers={"Idempotency-Key": f"log {seed}"},
        )
        if answer.status_code == 201:
            sent[seed] = answer.json()["id"]
            return
        assert answer.status_code == 503, f"{seed}, {sent}: {answer.text}"
        refused.append(answer.json()["detail"])
        time.sleep(0.3)


def _wait(happens, within_s: float = 180.0) -> None:
    end = time.monotonic() + within_s
    while not happens():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)

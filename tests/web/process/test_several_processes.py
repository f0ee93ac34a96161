"""Two server processes behind one address share all state.

The answering process is chosen by pausing the other one.
"""

import os
import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from app.services.access.sign_in_throttle import TRIES_PER_NAME
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.progress_board import ProgressBoard
from tests.conftest import told_to_command
from tests.faults.real_process import start_command
from tests.sample_data.accounts import PASSWORD, make_account
from tests.sample_data.local_access import local_cookie
from tests.web.tried_bench import fill

_WAIT_S = 60.0


class TwoProcesses:
    """`hazefall serve --workers 2`. Its processes answer at one address."""

    def __init__(self, settings: Settings) -> None:
        self.process = start_command("serve", "--workers", "2", "--port", "0", *told_to_command(settings))
        self.told = [self.process.stdout.readline(), self.process.stdout.readline()]
        assert self.told[1], self.process.communicate(timeout=_WAIT_S)[1]
        self.url = "/".join(self.told[1].split()[1].split("/")[:3])
        self.folder = settings.data_folder

    def workers(self) -> list[int]:
        """Ids of the two processes that answer."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        return [int(pid) for pid in children if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()]

    @contextmanager
    def answered_by(self, place: int) -> Iterator[httpx.Client]:
        """A client whose requests the process at `place` answers; each has a connection of its own."""
        others = [pid for number, pid in enumerate(self.workers()) if number != place]
        for pid in others:
            os.kill(pid, signal.SIGSTOP)
        try:
            with self.client() as client:
                yield client
        finally:
            for pid in others:
                os.kill(pid, signal.SIGCONT)

    def client(self) -> httpx.Client:
        return httpx.Client(
            base_url=self.url,
            cookies=local_cookie(self.folder),
            timeout=_WAIT_S,
            limits=httpx.Limits(max_keepalive_connections=0),
        )

    def stop(self) -> str:
        """Stops all of it and returns what it said on standard error."""
        self.process.send_signal(signal.SIGINT)
        return self.process.communicate(timeout=_WAIT_S)[1]


@contextmanager
def _two_processes(settings: Settings) -> Iterator[TwoProcesses]:
    server = TwoProcesses(settings)
    try:
        yield server
    finally:
        if server.process.poll() is None:
            assert server.stop() == ""


@contextmanager
def _on_the_tried_bench(settings: Settings) -> Iterator[TwoProcesses]:
    engine = open_store(settings)
    with session_scope(engine) as session:
        fill(session)
    engine.dispose()
    with _two_processes(settings) as started:
        yield started


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TwoProcesses]:
    with _on_the_tried_bench(Settings(tmp_path_factory.mktemp("two_processes"))) as started:
        yield started


@pytest.fixture
def server_of_kind(request: pytest.FixtureRequest, kind_of_store: str, settings: Settings) -> Iterator[TwoProcesses]:
    """The server of the other tests, or one on PostgreSQL."""
    if kind_of_store == "sqlite":
        yield request.getfixturevalue("server")
        return
    with _on_the_tried_bench(settings) as started:
        yield started


def test_each_knows_what_the_other_was_told(server: TwoProcesses, make_log: Callable[..., bytes]):
    """A waiting upload, a changed ranking that was kept in memory before, and marks that move a result."""
    run = {"kind": "unit running", "unit_under_test_id": "1", "setting": "high", "room_id": "1", "tested_by": "Ada"}
    with server.answered_by(0) as client:
        before = client.get("/api/ranking").json()
        sent = client.post("/trials/add", files={"log": ("run.csv", make_log(9.0, seed=77), "text/csv")})
        assert sent.status_code == 303, sent.text
        preview = sent.headers["location"].split("?")[0]
        page = client.get(preview, params=run).text
        shown = page.split('name="shown" value="')[1].split('"')[0]
    with server.answered_by(1) as client:
        assert client.get("/api/ranking").json() == before
        assert "Nothing is saved yet" in client.get(preview).text
        moved = client.post(preview, data={**run, "unit_on": "20", "shown": shown})
        assert (moved.status_code, "The results have changed since the preview" in moved.text) == (422, True)
        stored = client.post(preview, data={**run, "smoke_source_id": "1", "shown": shown})
        assert stored.status_code == 303, stored.text
        after = client.get("/api/ranking").json()
        assert after != before
        _wait_until_gone(client, preview)
    with server.answered_by(0) as client:
        assert client.get("/api/ranking").json() == after
        assert client.get(preview).status_code == 404
        trial = client.get("/api/trials?limit=100").json()["trials"][-1]["id"]
        rate = client.get(f"/api/trials/{trial}").json()["channels"]["pm2_5"]["total_decay_per_h"]
    with server.answered_by(1) as client:
        moved = client.patch(f"/api/trials/{trial}", json={"marks": {"end_s": 2400}, "why": "the door was opened"})
        assert moved.status_code == 200, moved.text
    with server.answered_by(0) as client:
        assert client.get(f"/api/trials/{trial}").json()["channels"]["pm2_5"]["total_decay_per_h"] != rate


def _wait_until_gone(client: httpx.Client, address: str) -> None:
    """A stored file is removed after the answer; a process that is paused before would keep it."""
    end = time.monotonic() + _WAIT_S
    while client.get(address).status_code != 404:
        assert time.monotonic() < end, f"{address} is still there"
        time.sleep(0.05)


def test_the_progress_of_one_is_told_by_both(server: TwoProcesses):
    """Worked for by a third process here, so that neither of the two knows it from its own memory."""
    key = "0123456789abcdef" * 2
    with ProgressBoard(server.folder / "progress").watched(key) as tell:
        tell(3, 7, "trials re-analysed")
        for place in (0, 1):
            with server.answered_by(place) as client:
                told = client.get(f"/progress/{key}").json()
                assert told == {"done": 3, "total": 7, "what": "trials re-analysed"}
    with server.client() as client:
        assert client.get(f"/progress/{key}").json() == {}


def test_changes_through_both_at_once_are_all_stored(server_of_kind: TwoProcesses, make_log: Callable[..., bytes]):
    server = server_of_kind
    fields = {"unit_under_test_id": 1, "setting_id": 2, "room_id": 1, "tested_by": "script"}

    def send(seed: int) -> int:
        with server.client() as client:
            log = make_log(5.0, minutes=20, seed=seed)
            return client.post("/api/trials", files={"log": (f"{seed}.csv", log)}, data=fields).status_code

    with server.client() as client:
        before = len(client.get("/api/trials?limit=100").json()["trials"])
    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(send, range(12))) == [201] * 12
        # the same log by six at once is stored once
        assert sorted(pool.map(send, [99] * 6)) == [201] + [409] * 5
    with server.client() as client:
        assert len(client.get("/api/trials?limit=100").json()["trials"]) == before + 13


def test_one_that_dies_is_replaced_while_the_other_answers(server: TwoProcesses):
    dead, left = server.workers()
    os.kill(dead, signal.SIGSTOP)
    time.sleep(1.0)  # it is asked every half second whether it lives, and now cannot answer
    os.kill(dead, signal.SIGKILL)
    with server.client() as client:
        assert client.get("/api/health").json()["status"] == "ok"
    until = time.monotonic() + _WAIT_S
    while (len(server.workers()) < 2 or dead in server.workers()) and time.monotonic() < until:
        time.sleep(0.2)
    assert left in server.workers()
    with server.answered_by(server.workers().index(next(pid for pid in server.workers() if pid != left))) as client:
        assert client.get("/api/health").json()["status"] == "ok"


def test_a_sign_in_and_its_throttle_count_in_both_and_all_stops_together(server: TwoProcesses):
    """The last of this file: from here on the bench has accounts, and then its server is stopped."""
    engine = open_store(Settings(server.folder))
    with session_scope(engine) as session:
        make_account(session, "Ann")
        make_account(session, "Bea")
    engine.dispose()
    with server.answered_by(0) as client:
        assert client.post("/sign-in", data={"name": "Ann", "password": PASSWORD}).status_code == 303
        cookies = client.cookies
    with server.answered_by(1) as client:
        client.cookies = cookies
        assert client.get("/units").status_code == 200
        assert client.post("/sign-out").status_code == 303
    with server.answered_by(0) as client:
        client.cookies = cookies
        assert client.get("/units").status_code == 303
    wrong = {"name": "Bea", "password": "not the right one"}
    answers = []
    for number in range(TRIES_PER_NAME + 1):
        with server.answered_by(number % 2) as client:
            answers.append(client.post("/sign-in", data=wrong).status_code)
    assert answers == [401] * TRIES_PER_NAME + [429]
    workers = server.workers()
    assert len(workers) == 2
    assert server.told[0].startswith(f"Hazefall serves the bench in {server.folder}")
    assert server.stop() == ""
    assert server.process.returncode == 0
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()]

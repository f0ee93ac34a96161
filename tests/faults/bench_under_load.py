"""A small bench for fault tests, with clients that send logs and change marks until the server is gone."""

import hashlib
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache
from itertools import count
from pathlib import Path

import httpx

from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.store.open import open_store
from app.services.units.definitions import NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit
from app.settings import Settings
from app.storage.engine import session_scope
from tests.conftest import NOW, decay_log
from tests.faults.real_process import Served
from tests.sample_data.made_once import settle

UNITS = 3
ANSWER_WITHIN_S = 60.0


def make_bench(folder: Path) -> Path:
    """A bench of one room and a few units with one setting each, without trials; returns the file of its store."""
    folder.mkdir(parents=True, exist_ok=True)
    store = folder / "bench.sqlite"
    store.write_bytes(_store_of_bench())
    return store


@cache
def _store_of_bench() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        engine = open_store(Settings(Path(folder)))
        with session_scope(engine) as session:
            add_room(session, NewRoom(name="Room A", length_m=4, width_m=3, height_m=2.5))
            for number in range(1, UNITS + 1):
                unit = add_unit(session, NewUnit(maker="Maker", model=f"Model {number}", kind="mechanical filter"))
                add_setting(session, unit, NewSetting(name="high", is_highest=True))
        engine.dispose()
        settle(Path(folder))
        return (Path(folder) / "bench.sqlite").read_bytes()


@dataclass
class Acknowledged:
    """Writes that the server acknowledged. A mark in flight when the server died may be stored or not."""

    trials: dict[int, str] = field(default_factory=dict)  # trial id to SHA-256 of its log
    marks: dict[int, float] = field(default_factory=dict)  # trial id to where unit on was put
    marks_in_flight: dict[int, float] = field(default_factory=dict)
    waiting: list[str] = field(default_factory=list)  # addresses of uploads that wait for their confirmation
    refused: list[str] = field(default_factory=list)  # answers that were neither a yes nor the end of the server


class Desk:
    """Sends logs and marks to a server from several threads, until `stop` or the end of the server."""

    def __init__(self, acknowledged: Acknowledged, first_seed: int = 1, interval_s: float = 10.0) -> None:
        """interval_s : between the readings of the logs that are sent; they last three quarters of an hour"""
        self.acknowledged = acknowledged
        self._interval_s = interval_s
        self.first_answer = threading.Event()
        self._seeds = count(first_seed)
        self._stop = threading.Event()

    @contextmanager
    def at_work(self, server: Served, uploaders: int = 3) -> Iterator["Desk"]:
        self._stop.clear()
        self.first_answer.clear()
        work = [*[self._upload] * uploaders, self._mark, self._stage]
        people = [threading.Thread(target=self._until_the_end, args=(server, one), daemon=True) for one in work]
        for person in people:
            person.start()
        try:
            yield self
        finally:
            self._stop.set()
            for person in people:
                person.join(ANSWER_WITHIN_S)

    def _until_the_end(self, server: Served, work) -> None:
        # the server was killed: whatever was in flight has no answer
        with suppress(httpx.TransportError), server.client(ANSWER_WITHIN_S) as client:
            while not self._stop.is_set():
                work(client)

    def _upload(self, client: httpx.Client) -> None:
        seed = next(self._seeds)
        start = NOW + timedelta(days=seed)
        log = decay_log(4.0, minutes=30, interval_s=self._interval_s, seed=seed, started_at=start)
        about = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1 + seed % UNITS, "setting": "high"}
        answer = client.post("/api/trials", files={"log": (f"{seed}.csv", log, "text/csv")}, data=about)
        if self._is_yes(answer):
            self.acknowledged.trials[answer.json()["id"]] = hashlib.sha256(log).hexdigest()
            self.first_answer.set()

    def _mark(self, client: httpx.Client) -> None:
        known = list(self.acknowledged.trials)
        if not known:
            self._stop.wait(0.05)
            return
        trial_id = known[next(self._seeds) % len(known)]
        place = 900.0 + 10 * (next(self._seeds) % 12)
        self.acknowledged.marks_in_flight[trial_id] = place
        answer = client.patch(f"/api/trials/{trial_id}", json={"marks": {"unit_on_s": place}, "who": "Ada"})
        if self._is_yes(answer):
            self.acknowledged.marks[trial_id] = place
            del self.acknowledged.marks_in_flight[trial_id]

    def _stage(self, client: httpx.Client) -> None:
        """The first step of the form: the file waits in the data folder, outside the store."""
        log = decay_log(4.0, minutes=30, seed=next(self._seeds))
        answer = client.post("/trials/add", files={"log": ("waits.csv", log, "text/csv")})
        if self._is_yes(answer):
            self.acknowledged.waiting.append(answer.headers["location"])
        self._stop.wait(0.2)

    def _is_yes(self, answer: httpx.Response) -> bool:
        if answer.status_code < 400:
            return True
        self.acknowledged.refused.append(f"{answer.request.method} {answer.url.path}: {answer.text[:300]}")
        self._stop.set()  # everybody goes home: the same answer a hundred times says no more
        return False

"""Many clients on one server at the same time: responses, times, and whether anything was lost."""

import hashlib
import random
import statistics
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta

import httpx

from tests.conftest import NOW, decay_log
from tests.faults.bench_under_load import UNITS
from tests.faults.real_process import Served

READ = (
    "/",
    "/api/ranking",
    "/trials",
    "/trials/{trial}",
    "/curves",
    "/costs",
    "/units/1",
    "/api/trials/{trial}",
    "/api/trials/{trial}/readings",
)
ANSWER_WITHIN_S = 120.0
PAUSE_S = 0.5  # mean time that a reader looks at a page before asking for the next


@dataclass
class Answered:
    """What one group of people was answered."""

    seconds: list[float] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    odd: list[str] = field(default_factory=list)  # answers that nobody wants: 4xx, 5xx, or none at all

    def take(self, answer: httpx.Response, seconds: float) -> bool:
        self.seconds.append(seconds)
        self.statuses[answer.status_code] += 1
        if answer.status_code >= 400:
            self.odd.append(f"{answer.status_code} {answer.request.method} {answer.url.path}: {answer.text[:200]}")
        return answer.status_code < 400

    def p95_s(self) -> float:
        return statistics.quantiles(self.seconds, n=20)[-1] if len(self.seconds) > 1 else float("nan")


@dataclass
class Crowd:
    """Readers and writers at one server for a bounded time.

    addresses : what readers ask for; write_pause_s : that a writer waits before the next change
    no_new_logs : whoever would send a log puts one of these trials in the trash and takes it back; the bench stays as
        large as it is
    trials : id to SHA-256 of the log, of every trial that was acknowledged; log_bytes : the sizes of these logs
    marks : trial id to where unit on was put last; prices : amounts that were acknowledged
    """

    server: Served | None
    readers: int
    writers: int
    seed: int
    addresses: Sequence[str] = READ
    write_pause_s: float = 0.0
    no_new_logs: Sequence[int] = ()
    reading: Answered = field(default_factory=Answered)
    writing: Answered = field(default_factory=Answered)
    trials: dict[int, str] = field(default_factory=dict)
    log_bytes: list[int] = field(default_factory=list)
    marks: dict[int, float] = field(default_factory=dict)
    prices: list[float] = field(default_factory=list)
    taken_back: int = 0  # trials out of the trash
    took_s: float = 0.0

    def stay(self, for_s: float | None = None, until: Callable[[], bool] | None = None) -> "Crowd":
        """Uses the server for so long, or until something else is over."""
        over = threading.Event()
        # of eight writers four send logs, two move marks and two note prices
        send = self._trash if self.no_new_logs else self._send
        work = (send, self._mark, send, self._price)
        people = [threading.Thread(target=self._read, args=(over, number)) for number in range(self.readers)]
        people += [
            threading.Thread(target=self._write, args=(over, number, work[number % len(work)]))
            for number in range(self.writers)
        ]
        begun = time.monotonic()
        for person in people:
            person.start()
        while not (until() if until else time.monotonic() - begun >= (for_s or 0.0)):
            time.sleep(0.02)
        over.set()
        for person in people:
            person.join()
        self.took_s = time.monotonic() - begun
        return self

    def _client(self) -> httpx.Client:
        assert self.server is not None
        return self.server.client(ANSWER_WITHIN_S)

    def _read(self, over: threading.Event, number: int) -> None:
        chance = random.Random(f"reader {self.seed} {number}")
        with self._client() as client:
            while not over.wait(chance.uniform(0.0, 2 * PAUSE_S)):
                page = chance.choice(self.addresses).format(trial=chance.randint(1, 6))
                self._timed(client, self.reading, "GET", page)

    def _write(self, over: threading.Event, number: int, work: Callable[..., None]) -> None:
        with self._client() as client:
            turn = 0
            while not over.is_set():
                turn += 1
                work(client, self.seed * 1_000_000 + number * 10_000 + turn)
                over.wait(self.write_pause_s)

    def _send(self, client: httpx.Client, key: int) -> None:
        log = decay_log(4.0, minutes=60, seed=key, started_at=NOW + timedelta(minutes=key % 1_000_000))
        about = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1 + key % UNITS, "setting": "high"}
        answer = self._timed(
            client, self.writing, "POST", "/api/trials", files={"log": (f"{key}.csv", log, "text/csv")}, data=about
        )
        if answer is not None and answer.status_code == 201:
            self.trials[answer.json()["id"]] = hashlib.sha256(log).hexdigest()
            self.log_bytes.append(len(log))

    def _trash(self, client: httpx.Client, key: int) -> None:
        address = f"/api/trials/{self.no_new_logs[key % len(self.no_new_logs)]}"
        for change in ({"trashed": True, "why": "put aside"}, {"trashed": False, "why": "wanted again"}):
            self._timed(client, self.writing, "PATCH", address, json={**change, "who": "Ada"})
        self.taken_back += 1

    def _mark(self, client: httpx.Client, key: int) -> None:
        trial = 1 + key // 10_000 % 8  # each of those who move marks has a trial of its own
        place = 900.0 + 10 * (key % 12)
        answer = self._timed(
            client, self.writing, "PATCH", f"/api/trials/{trial}", json={"marks": {"unit_on_s": place}, "who": "Ada"}
        )
        if answer is not None and answer.status_code == 200:
            self.marks[trial] = place

    def _price(self, client: httpx.Client, key: int) -> None:
        price = {"amount": float(key), "currency": "USD", "seen_on": "2026-03-02", "source": "price list"}
        answer = self._timed(client, self.writing, "PATCH", f"/api/units/{1 + key % UNITS}", json={"price": price})
        if answer is not None and answer.status_code == 200:
            self.prices.append(float(key))

    def _timed(self, client: httpx.Client, answered: Answered, method: str, path: str, **sent) -> httpx.Response | None:
        begun = time.monotonic()
        try:
            answer = client.request(method, path, **sent)
        except httpx.TransportError as error:
            answered.odd.append(f"{method} {path}: {type(error).__name__}")
            return None
        answered.take(answer, time.monotonic() - begun)
        return answer


def missing_prices(stored: Sequence[float], acknowledged: Sequence[float]) -> list[str]:
    there = set(stored)
    return [f"the price {amount} was acknowledged and is missing" for amount in acknowledged if amount not in there]

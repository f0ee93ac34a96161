"""Places commits between the reads of a request, and looks whether a later answer is out of date.

An answer is out of date where it differs from that of a server that has kept nothing.
"""

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from http.cookiejar import DefaultCookiePolicy
from random import Random
from typing import Any

from fastapi.testclient import TestClient
from sqlalchemy import Engine, event, text

from app.services.snapshot.bench_snapshot import forget_snapshot
from app.settings import Settings
from app.storage.engine import open_engine, session_scope
from app.web.application import make_app
from tests.sample_data.local_access import local_browser, local_script

# One address for each view that a process keeps, with what it is made from.
ADDRESSES = (
    "/",
    "/?setting=every&sort=price",
    "/?column=ozone&column=certified_smoke&column=price&sort=ozone",
    "/ranking/order",
    "/ranking/order?by=sound",
    "/ranking/order?by=running_cost&setting=every",
    "/ranking/weights?weight_price=1&weight_sound=2",
    "/ranking/pictures",
    "/compare?setting_id={strong}&setting_id={weak}",
    "/costs",
    "/room?max_sound_dba=90",
    "/units",
    "/units?trashed=1",
    "/api/ranking?setting=every",
    "/api/ranking/order",
    "/api/running-cost",
    "/api/comparison?setting_id={strong}&setting_id={weak}",
    "/figures/frontier.json?max_sound_dba=90",
    "/charts/cost-bars.svg",
    "/tables/ranking.csv",
)

# Every kind of row that these views rest on; {n} makes each change another one.
CHANGES = (
    "UPDATE units_under_test SET trashed_at = CASE WHEN trashed_at IS NULL THEN '2026-01-05T10:00:00Z' END "
    "WHERE id = {unit}",
    "UPDATE prices SET amount = 100 + {n} WHERE unit_under_test_id = {unit}",
    "UPDATE sound_measurements SET level_dba = 35 + {n} % 20 WHERE unit_under_test_id = {unit}",
    "UPDATE power_measurements SET power_w = 20 + {n} WHERE unit_under_test_id = {unit}",
    "UPDATE setting_summaries SET clean_air_delivery_rate_m3_per_h = 100 + {n}, total_decay_per_h = 3 + 0.01 * {n}, "
    "measurable = 1 WHERE unit_under_test_id = {unit}",
    "INSERT INTO ozone_tests (unit_under_test_id, ozone_ppb, below_detection, method, tested_on, source) "
    "VALUES ({unit}, {n}, 0, '', '2026-01-05', '')",
    "INSERT INTO ratings (unit_under_test_id, aerosol, listed, clean_air_delivery_rate_m3_per_h, stated_unit, "
    "sister_model, test_standard, edition, source, seen_on) "
    "VALUES ({unit}, 'smoke', 1, 100 + {n}, 'm³/h', '', '', '', '', '2026-01-05')",
    "UPDATE bench SET hours_per_day = 1 + {n} % 23",
    "UPDATE tariffs SET price_per_kwh = 0.01 * {n}",
    "UPDATE rooms SET name = 'Room {n}'",
)


class Writer:
    """Commits one change after another through an engine of its own."""

    def __init__(self, engine: Engine, unit_ids: Sequence[int]) -> None:
        self._engine = engine
        self._unit_ids, self._random = unit_ids, Random(1)
        self._number = 0

    def commit(self) -> None:
        self._number += 1
        change, unit_id = self._random.choice(CHANGES), self._random.choice(self._unit_ids)
        statement = change.format(unit=unit_id, n=self._number)
        with self._engine.begin() as connection:
            connection.execute(text(statement))


class ReadBench:
    """A server and a writer beside it."""

    def __init__(self, settings: Settings, url: str, unit_ids: Sequence[int], setting_ids: dict[str, int]) -> None:
        self._settings = settings
        self._of_writer = open_engine(url)
        self.writer = Writer(self._of_writer, unit_ids)
        self.addresses = tuple(address.format(**setting_ids) for address in ADDRESSES)

    def close(self) -> None:
        self._of_writer.dispose()

    @contextmanager
    def server(self) -> Iterator[TestClient]:
        with local_browser(make_app(self._settings), self._settings) as client:
            client.cookies.jar.set_policy(DefaultCookiePolicy(allowed_domains=[]))  # columns are remembered in one
            client.headers.update(local_script(self._settings.data_folder))  # in the place of the cookie
            yield client

    def fresh(self, client: TestClient, addresses: Sequence[str]) -> dict[str, str]:
        """The answers of the server once it has forgotten its snapshot."""
        with session_scope(client.app_state["engine"], writes=False) as session:
            forget_snapshot(session)
        return {address: answer(client, address) for address in addresses}

    def statements_of(self, client: TestClient, address: str) -> int:
        """How many statements the first request after a commit runs."""
        self.writer.commit()
        with self.commit_before(-1) as counted:
            answer(client, address)
        return counted[0]

    @contextmanager
    def commit_before(self, place: int) -> Iterator[list[int]]:
        """Within the block a change is committed before the statement of this place; gives the number of statements."""
        seen, writing = [0], threading.local()

        def before(_connection: Any, *_: Any) -> None:
            if getattr(writing, "now", False):
                return
            if seen[0] == place:
                writing.now = True
                self.writer.commit()
                writing.now = False
            seen[0] += 1

        event.listen(Engine, "before_cursor_execute", before)
        try:
            yield seen
        finally:
            event.remove(Engine, "before_cursor_execute", before)

    def out_of_date_after_gap(self, client: TestClient, address: str, place: int) -> bool:
        """Whether a later answer is out of date when a change was committed before the statement of this place."""
        self.writer.commit()  # so that the request has something to read
        with self.commit_before(place):
            answer(client, address)
        later = answer(client, address)
        return later != self.fresh(client, [address])[address]

    def out_of_date_after_race(self, client: TestClient, reading: Sequence[str], commits: int) -> list[str]:
        """The addresses out of date after readers of these addresses and a writer ran at the same time."""
        with ThreadPoolExecutor(len(reading) + 1) as threads:
            begin = threading.Barrier(len(reading) + 1)
            tasks = [threads.submit(_repeat, begin, lambda a=a: answer(client, a), 3) for a in reading]
            tasks.append(threads.submit(_repeat, begin, self.writer.commit, commits))
            for task in tasks:
                task.result()
        later = {address: answer(client, address) for address in reading}
        expected = self.fresh(client, reading)
        return [address for address in reading if later[address] != expected[address]]


def answer(client: TestClient, address: str) -> str:
    """Status and text; a unit in the trash may be missing from a comparison."""
    found = client.get(address)
    assert found.status_code < 500, f"{address}: {found.status_code} {found.text[:300]}"
    return f"{found.status_code}\n{found.text}"


def _repeat(begin: threading.Barrier, act: Callable[[], object], times: int) -> None:
    begin.wait()
    for _ in range(times):
        act()

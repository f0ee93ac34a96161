"""Valid and broken requests from our own OpenAPI to every operation: none causes a server error, and each response is
of a documented kind.
"""

import threading
import time
from collections.abc import Iterator
from http.cookiejar import DefaultCookiePolicy
from typing import Any

import pytest
import requests
import schemathesis
import uvicorn
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as budget
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode

from app.settings import Settings
from app.web.api.runs import stream
from app.web.application import make_app
from tests.conftest import sqlite_only
from tests.sample_data.local_access import local_script
from tests.web.tried_bench import TriedBench

EXAMPLES = 5  # of each operation and mode


@pytest.fixture
def served(
    settings: Settings, tried_bench: TriedBench, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[str, dict[str, str]]]:
    """The tried bench behind a real server on a free port: its address, and the header that lets a script in."""
    monkeypatch.setattr(stream, "_LASTS_S", 0.0)  # a stream of an open run would last half a minute
    server = uvicorn.Server(uvicorn.Config(make_app(settings), host="127.0.0.1", port=0, log_level="error"))
    thread = threading.Thread(target=server.run)
    thread.start()
    deadline = time.monotonic() + 60
    while not server.started and time.monotonic() < deadline:
        time.sleep(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}", local_script(settings.data_folder)
    server.should_exit = True
    thread.join()


def ask(address: str, let_in: dict[str, str], examples: int) -> dict[str, dict[int, int]]:
    """Asks every operation so often in each mode; operation to status to how often. Fails on any status above 499
    and on one that the description does not name."""
    schema = schemathesis.openapi.from_url(f"{address}/api/openapi.json", headers=let_in)
    found: dict[str, dict[int, int]] = {}
    session = requests.Session()  # one connection for all
    session.headers.update(let_in)
    session.trust_env = False
    session.cookies.set_policy(DefaultCookiePolicy(allowed_domains=[]))
    for result in schema.get_all_operations():
        operation = result.ok()
        name = f"{operation.method.upper()} {operation.path}"
        counted = found.setdefault(name, {})
        named = {int(status) for status in operation.definition.raw["responses"] if status.isdigit()}
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
            try:
                _ask_one(operation.as_strategy(generation_mode=mode), session, examples, name, named, counted)
            except Unsatisfiable:  # an operation that takes nothing cannot be asked wrongly
                assert mode is GenerationMode.NEGATIVE, name
    session.close()
    return found


def _ask_one(
    strategy: Any, session: requests.Session, examples: int, name: str, named: set[int], counted: dict[int, int]
) -> None:
    @budget(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.explicit, Phase.generate],
    )
    @given(case=strategy)
    def asked(case: Any) -> None:
        answer = case.call(session=session, timeout=60)
        counted[answer.status_code] = counted.get(answer.status_code, 0) + 1
        assert answer.status_code < 500, (name, case.as_curl_command(), answer.text[:500])
        # what no description of a route can name: an address that is none, a method that it has not
        assert answer.status_code in named | {404, 405}, (name, answer.status_code, case.as_curl_command())

    asked()


@sqlite_only
def test_no_request_to_any_operation_ends_in_an_error_of_the_server(served: tuple[str, dict[str, str]]):
    found = ask(*served, EXAMPLES)
    assert {"GET /api/trials", "POST /api/trials", "PATCH /api/units/{unit_id}", "GET /api/trash"} <= found.keys()
    for name, counted in found.items():
        assert sum(counted.values()) > 0, name
    assert sum(counted.get(200, 0) for counted in found.values()) > 50  # they are not all turned away at the door

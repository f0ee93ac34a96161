"""Endless, slow and many requests: none of them is read without end, and none keeps the others waiting."""

import asyncio
import socket
import threading
import time
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import PlainTextResponse

from app.errors import TooManyAttempts
from app.services.access import passwords
from app.web.process import timed_connections
from app.web.process.timed_connections import TimedConnection
from app.web.security import slow_clients
from app.web.security.slow_clients import UPLOADS_PER_CLIENT, SlowClientsMiddleware
from tests.conftest import sqlite_only
from tests.faults.real_process import Served, served

LIMIT = 3_000_000
UPLOADS = (
    *("/api/trials", "/api/units/1/attachments", "/api/runs/1/finish", "/api/logger-checks"),
    *("/trials/add", "/units/1/attachments", "/units/1/clips", "/no-such-page", "/units"),
)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("slow") / "bench"
    with served(folder, {"HAZEFALL_MAX_UPLOAD_BYTES": str(LIMIT)}) as server:
        yield server


def sent_until_cut(server: Served, head: str, most: int) -> tuple[int, bytes]:
    """Sends chunks without end; how many bytes the server took before it cut the connection, and what it answered."""
    port = int(server.url.rpartition(":")[2])
    chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
    sent, answer = 0, b""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as connection:
        connection.sendall(head.encode())
        with suppress(BrokenPipeError, ConnectionResetError):
            while sent < most:
                connection.sendall(chunk)
                sent += len(chunk)
        with suppress(ConnectionResetError):
            answer = connection.recv(65536)
    return sent, answer


@sqlite_only
def test_a_request_for_a_web_socket_is_refused_without_advice_to_install_one(bench: Served):
    asked = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13", "Sec-WebSocket-Key": "x"}
    assert httpx.get(f"{bench.url}/", headers=asked).status_code == 401
    assert "pip install" not in bench.said()


@sqlite_only
@pytest.mark.parametrize("path", UPLOADS)
@pytest.mark.parametrize("let_in", [True, False])
def test_an_endless_chunked_body_is_cut_at_the_limit(bench: Served, path: str, let_in: bool):
    token = bench.headers["Authorization"] if let_in else "none"
    head = (
        f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: {token}\r\nTransfer-Encoding: chunked\r\n"
        "Content-Type: multipart/form-data; boundary=edge\r\n\r\n"
    )
    sent, _ = sent_until_cut(bench, head, 40 * LIMIT)
    assert sent < LIMIT + 12_000_000  # the rest waits in buffers of the two sockets
    assert httpx.get(f"{bench.url}/api/health").status_code == 200


def run_apart(work: Coroutine[Any, Any, Any]) -> Any:
    """Runs it in a thread of its own: a browser of other tests may have a loop in this one."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(asyncio.run, work).result()


class Scripted:
    """One request whose body arrives as a test says; what was answered."""

    def __init__(self, *messages: dict[str, Any], headers: dict[str, str], client: str = "192.0.2.1") -> None:
        self._messages = list(messages)
        self.sent: list[dict[str, Any]] = []
        raw = [(name.encode(), value.encode()) for name, value in headers.items()]
        self.scope = {
            "type": "http", "method": "POST", "path": "/api/try", "query_string": b"", "headers": raw,
            "client": (client, 1), "server": ("127.0.0.1", 80), "scheme": "http", "root_path": "",
            "http_version": "1.1",
        }  # fmt: skip

    async def receive(self) -> dict[str, Any]:
        if self._messages:
            return self._messages.pop(0)
        await asyncio.Event().wait()
        raise AssertionError

    async def send(self, message: dict[str, Any]) -> None:
        self.sent.append(message)

    @property
    def status(self) -> int:
        return self.sent[0]["status"]

    @property
    def answer_headers(self) -> dict[bytes, bytes]:
        return dict(self.sent[0]["headers"])


async def reads_all(scope, receive, send) -> None:
    await Request(scope, receive).body()
    await PlainTextResponse("read")(scope, receive, send)


async def reads_nothing(scope, receive, send) -> None:
    await PlainTextResponse("refused", 401)(scope, receive, send)


CHUNKED = {"transfer-encoding": "chunked"}
PART = {"type": "http.request", "body": b"x" * 100, "more_body": True}
LAST = {"type": "http.request", "body": b"x", "more_body": False}


def test_a_body_that_stops_arriving_is_given_up(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(slow_clients, "GRACE_S", 0.05)
    request = Scripted(PART, headers=CHUNKED)
    run_apart(SlowClientsMiddleware(reads_all)(request.scope, request.receive, request.send))
    assert request.status == 408
    assert b"arrived too slowly: 100 bytes" in request.sent[1]["body"]
    assert request.answer_headers[b"connection"] == b"close"


def test_bytes_that_keep_arriving_earn_more_time(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(slow_clients, "GRACE_S", 0.0)
    monkeypatch.setattr(slow_clients, "SLOWEST_BYTES_PER_S", 0.001)

    async def slowly(scope, receive, send) -> None:
        await asyncio.sleep(0.05)
        await reads_all(scope, receive, send)

    request = Scripted(PART, LAST, headers=CHUNKED)
    monkeypatch.setattr(slow_clients, "GRACE_S", 60.0)
    run_apart(SlowClientsMiddleware(slowly)(request.scope, request.receive, request.send))
    assert request.status == 200


def test_an_answer_before_the_body_closes_the_connection_of_a_large_one_only():
    large = Scripted(PART, headers={"content-length": "50000000"})
    small = Scripted(PART, headers={"content-length": "200"})
    for request in (large, small):
        run_apart(SlowClientsMiddleware(reads_nothing)(request.scope, request.receive, request.send))
    assert large.answer_headers[b"connection"] == b"close"
    assert b"connection" not in small.answer_headers


def test_one_client_has_a_number_of_uploads_and_leaves_the_others_theirs():
    async def together() -> tuple[list[int], int, int]:
        middleware = SlowClientsMiddleware(reads_all)
        waiting = [Scripted(PART, headers=CHUNKED) for _ in range(UPLOADS_PER_CLIENT)]
        tasks = [asyncio.create_task(middleware(r.scope, r.receive, r.send)) for r in waiting]
        await asyncio.sleep(0.01)
        one_more, other = Scripted(LAST, headers=CHUNKED), Scripted(LAST, headers=CHUNKED, client="192.0.2.2")
        small = Scripted(LAST, headers={"content-length": "1"})
        for request in (one_more, other, small):
            await middleware(request.scope, request.receive, request.send)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        assert not middleware.uploads
        return [one_more.status, other.status, small.status], len(tasks), len(one_more.sent)

    assert run_apart(together())[0] == [429, 200, 200]


@contextmanager
def listening(app: FastAPI) -> Iterator[int]:
    """A real server in a thread; its port."""
    config = uvicorn.Config(
        app, host="127.0.0.1", port=0, log_level="error", http=TimedConnection, timeout_keep_alive=1
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()


@pytest.mark.parametrize("begun", [b"", b"GET / HTTP/1.1\r\nHost: x", b"GET /a HTTP/1.1\r\nHost: x\r\n\r\nGET /"])
def test_a_head_that_does_not_arrive_closes_the_connection(monkeypatch: pytest.MonkeyPatch, begun: bytes):
    """Nothing at all, half a head, and half a head after a whole request."""
    monkeypatch.setattr(timed_connections, "HEAD_WITHIN_S", 0.3)
    app = FastAPI()
    with listening(app) as port, socket.create_connection(("127.0.0.1", port), timeout=30) as connection:
        connection.sendall(begun)
        received = b""
        while part := connection.recv(65536):  # ends when the server closes
            received += part
    assert received.count(b"HTTP/1.1 404") == (1 if begun.startswith(b"GET /a") else 0)


def test_a_request_that_is_being_answered_is_not_cut(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(timed_connections, "HEAD_WITHIN_S", 0.1)
    app = FastAPI()

    @app.get("/slow")
    async def slow() -> str:
        await asyncio.sleep(0.5)
        return "whole"

    with listening(app) as port:
        assert httpx.get(f"http://127.0.0.1:{port}/slow", timeout=20).json() == "whole"


def test_only_some_sign_ins_wait_for_their_hash(monkeypatch: pytest.MonkeyPatch):
    """The others are told to try again, so that they do not occupy the threads that pages need."""
    go, inside = threading.Event(), threading.Semaphore(0)

    class Slow:
        def verify(self, _kept: str, _password: str) -> bool:
            inside.release()
            return go.wait(20)

    monkeypatch.setattr(passwords, "_hasher", Slow)
    outcomes: list[object] = []

    def sign_in() -> None:
        try:
            outcomes.append(passwords.password_matches("kept", "password"))
        except TooManyAttempts as error:
            outcomes.append(error.message)

    people = [threading.Thread(target=sign_in) for _ in range(20)]
    for person in people:
        person.start()
    assert all(inside.acquire(timeout=20) for _ in range(2))
    while len(outcomes) < 12:
        time.sleep(0.01)
    assert not inside.acquire(timeout=0.1)  # two at once
    go.set()
    for person in people:
        person.join(20)
    assert outcomes.count(True) == 8
    assert outcomes.count("Many people are signing in at this moment. Wait some seconds and try again.") == 12

"""One GET request to an application object, with its start and stop, without a server or a client library."""

import asyncio
from collections.abc import Callable
from typing import Any

from app.services.access.local_secret import read_secret


def _nothing() -> None:
    """What is called where nobody waits for the moment."""


async def get(
    app: Any, path: str, once_answered: Callable[[], None] = _nothing, once_started: Callable[[], None] = _nothing
) -> tuple[int, bytes]:
    """Status and body of the answer to one GET of a script that reads the secret of the bench.

    once_started : called when the server takes requests, before the first one
    once_answered : called after the last byte was sent, before the server does anything else
    """
    to_app: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
    from_app: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
    state: dict[str, Any] = {}
    lifespan = asyncio.create_task(app({"type": "lifespan", "state": state}, to_app.get, from_app.put))
    await to_app.put({"type": "lifespan.startup"})
    started = await from_app.get()
    if started["type"] != "lifespan.startup.complete":
        raise RuntimeError(started.get("message", "The application did not start."))

    parts: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        parts.append(message)
        if message["type"] == "http.response.body" and not message.get("more_body", False):
            once_answered()

    secret = read_secret(state["settings"].data_folder)
    target, _, query = path.partition("?")
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http",
        "path": target, "raw_path": target.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(b"host", b"127.0.0.1:8000"), (b"authorization", b"Bearer " + secret.encode())],
        "client": ("127.0.0.1", 50000), "server": ("127.0.0.1", 8000), "state": state,
    }  # fmt: skip
    once_started()
    await app(scope, receive, send)
    await to_app.put({"type": "lifespan.shutdown"})
    await lifespan
    return parts[0]["status"], b"".join(part.get("body", b"") for part in parts[1:])

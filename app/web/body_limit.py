"""Refuses a request body above the limit, with the answer that every other mistake gets.

FastAPI's own limit answers in plain text before our handlers are asked, so the count is made here.
"""

from http import HTTPStatus

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.web.problems import TOO_LARGE, refuse

# A browser shows the answer only once its upload has been taken, so that much is read and thrown away.
_READ_AND_DROPPED = 10


class BodyLimit:
    """413 for a body that says it is larger than the limit, or turns out to be (chunked)."""

    def __init__(self, app: ASGIApp, max_bytes: int) -> None:
        self.app = app
        self.max_bytes = max_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        stated = Headers(scope=scope).get("content-length", "")
        if stated.isdecimal() and int(stated) > self.max_bytes:
            if int(stated) <= self.max_bytes * _READ_AND_DROPPED:
                await _drop(receive)
            await refuse(scope, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, TOO_LARGE)(scope, receive, send)
            return
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self.max_bytes:
                raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
            return message

        await self.app(scope, counted, send)


async def _drop(receive: Receive) -> None:
    more = True
    while more:
        message = await receive()
        more = message["type"] == "http.request" and message.get("more_body", False)

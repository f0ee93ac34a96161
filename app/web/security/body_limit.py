"""Rejects a request body above the limit, with a problem document like every other error.

FastAPI's own limit responds in plain text before our handlers run, so the body is counted here. Files are written to
disk in pieces; JSON and plain forms are read into memory, where they grow many times, so their limit is lower. So is
that of the sign-in, which takes no file, because the text fields of any form are in memory, too.
"""

from http import HTTPStatus

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.web.problems import TOO_LARGE, TOO_LONG, refuse
from app.web.security.authentication import SIGN_IN

# JSON and plain forms; the longest form of the pages has some thousand fields.
MOST_BYTES_READ_AS_A_WHOLE = 2_000_000

# A browser shows the response only after its upload has been accepted, so this much is read and discarded.
_READ_AND_DROPPED = 10


class BodyLimitMiddleware:
    """413 for a body that is declared, or turns out (chunked), to be larger than the limit."""

    def __init__(self, app: ASGIApp, max_bytes: int) -> None:
        self.app = app
        self.max_bytes = max_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        stated = headers.get("content-length", "")
        most, words = self.max_bytes, TOO_LARGE
        has_files = headers.get("content-type", "").lower().startswith("multipart/form-data")
        if not has_files or scope["path"] == SIGN_IN:  # anybody may send a form there
            most, words = min(most, MOST_BYTES_READ_AS_A_WHOLE), TOO_LONG
        if stated.isdecimal() and int(stated) > most:
            if int(stated) <= self.max_bytes * _READ_AND_DROPPED:
                await _drop(receive)
            await refuse(scope, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, words)(scope, receive, send)
            return
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > most:
                raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, words)
            return message

        await self.app(scope, counted, send)


async def _drop(receive: Receive) -> None:
    more = True
    while more:
        message = await receive()
        more = message["type"] == "http.request" and message.get("more_body", False)

"""Slow, endless and many uploads: each request body has a time limit, and each client a number of them.

A request that is answered before its body has arrived closes the connection, so that nothing more of it is read.
"""

import asyncio
import math
from collections import Counter

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.web.problems import refuse
from app.web.templating.headers import SECURITY_HEADERS

# A body may take a minute, and as much longer as its bytes take at this rate; 10 kB/s is a poor mobile connection.
GRACE_S = 60.0
SLOWEST_BYTES_PER_S = 10_000
UPLOADS_PER_CLIENT = 12  # at the same time, of bodies above a megabyte or of unknown length
_LARGE_BYTES = 1_000_000
_TOO_SLOW = (
    "The request body arrived too slowly: {received} bytes in {elapsed:.0f} s. Nothing was saved. Send it again over a "
    "faster connection, or in smaller parts."
)
_TOO_MANY = (
    "Too many uploads from this address at the same time. At most {most} are accepted. Nothing was saved. Wait until "
    "some have finished and send it again."
)


class SlowClientsMiddleware:
    """408 for a body that arrives too slowly, 429 for too many uploads of one client."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.uploads: Counter[str] = Counter()  # of each client, being read

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        size = _body_size(scope) if scope["type"] == "http" else 0
        if size == 0:
            await self.app(scope, receive, send)
            return
        client = scope["client"][0] if scope.get("client") else ""
        large = size > _LARGE_BYTES
        body = _Body(receive, send, large)
        if large and self.uploads[client] >= UPLOADS_PER_CLIENT:
            await _refuse(scope, body, 429, _TOO_MANY.format(most=UPLOADS_PER_CLIENT))
            return
        self.uploads[client] += large
        try:
            await self.app(scope, body.receive, body.send)
        except HTTPException as error:  # raised by `receive` where no route was reading
            if body.answered:
                raise
            await _refuse(scope, body, error.status_code, error.detail)
        finally:
            self.uploads[client] -= large
            if self.uploads[client] <= 0:
                del self.uploads[client]


class _Body:
    """The body of one request: how much of it has arrived, and since when."""

    def __init__(self, receive: Receive, send: Send, large: bool) -> None:
        self._receive, self._send, self._large = receive, send, large
        self._begun = asyncio.get_running_loop().time()
        self._received = 0
        self._complete = False
        self.answered = False

    async def receive(self) -> Message:
        if self._complete:
            return await self._receive()
        elapsed = asyncio.get_running_loop().time() - self._begun
        left = GRACE_S + self._received / SLOWEST_BYTES_PER_S - elapsed
        try:
            message = await asyncio.wait_for(self._receive(), max(0.0, left))
        except TimeoutError:
            elapsed = asyncio.get_running_loop().time() - self._begun
            words = _TOO_SLOW.format(received=self._received, elapsed=elapsed)
            raise HTTPException(408, words) from None
        self._received += len(message.get("body", b""))
        self._complete = message["type"] != "http.request" or not message.get("more_body", False)
        return message

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.answered = True
            if self._large and not self._complete:  # a small rest is read and dropped, so that the answer arrives
                MutableHeaders(scope=message)["Connection"] = "close"
        await self._send(message)


def _body_size(scope: Scope) -> float:
    """Stated size of the body [bytes]; infinite where it is not stated, 0 without a body."""
    headers = Headers(scope=scope)
    if "transfer-encoding" in headers:
        return math.inf
    stated = headers.get("content-length", "")
    return int(stated) if stated.isdecimal() else 0


async def _refuse(scope: Scope, body: _Body, status: int, words: str) -> None:
    answer = refuse(scope, status, words)
    answer.headers.update(SECURITY_HEADERS)
    if status == 429:
        answer.headers["Retry-After"] = "5"
    await answer(scope, body.receive, body.send)

"""How answers travel: HEAD is answered like GET, a page that has not changed is not sent again, text is compressed."""

import hashlib

from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COMPRESSION_LEVEL = 5  # of a page of 1.4 MB, in a third of the time of level 9 and a few per cent longer
# besides pictures, sound and archives: raw logs, which are sent byte for byte, and workbooks
NOT_COMPRESSED = (
    *DEFAULT_EXCLUDED_CONTENT_TYPES,
    "application/octet-stream",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
)


ASKED_BY_HEAD = "asked_by_head"  # key of the scope of a GET that answers HEAD


class HeadMiddleware:
    """Answers HEAD with the status and headers of GET, without its body. GET changes nothing, so it is simply run; the
    one that uses up a link asks whether it was HEAD.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return
        is_endless = False

        async def receive_or_leave() -> Message:
            return {"type": "http.disconnect"} if is_endless else await receive()

        async def send_without_body(message: Message) -> None:
            nonlocal is_endless
            if message["type"] == "http.response.start":
                await send(message)
                await send({"type": "http.response.body", "body": b"", "more_body": False})
                is_endless = Headers(raw=message["headers"]).get("content-type", "").startswith("text/event-stream")

        await self.app({**scope, "method": "GET", ASKED_BY_HEAD: True}, receive_or_leave, send_without_body)


class ETagMiddleware:
    """Gives pages and JSON an ETag made from their content, and answers 304 if the client has it already.

    Answers in one piece only: a stream is passed on. The page is still made, because its content depends on the store
    and on who asks; what is saved is sending and reading it. Nothing is used again without asking (`no-cache`), and
    nothing is cached for others (`private`). An answer that has a `Cache-Control` or an ETag keeps it.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "GET":
            await self.app(scope, receive, send)
            return
        asked = Headers(scope=scope).get("if-none-match", "")
        start: Message | None = None

        async def send_with_tag(message: Message) -> None:
            nonlocal start
            if message["type"] == "http.response.start" and _may_be_tagged(message):
                start = message
                return
            if start is not None:
                held, start = start, None
                if message["type"] == "http.response.body" and not message.get("more_body"):
                    message = _tagged(held, message, asked)
                await send(held)
            await send(message)

        await self.app(scope, receive, send_with_tag)


def _may_be_tagged(start: Message) -> bool:
    headers = Headers(raw=start["headers"])
    return start["status"] == 200 and "etag" not in headers and "cache-control" not in headers


def _tagged(start: Message, body: Message, asked: str) -> Message:
    """Adds the headers to the start of an answer; gives its body, which is empty if the client has it."""
    headers = MutableHeaders(raw=start["headers"])
    # weak, because the compressed answer has other bytes
    tag = f'W/"{hashlib.blake2b(body.get("body", b""), digest_size=16).hexdigest()}"'
    headers["ETag"] = tag
    headers["Cache-Control"] = "private, no-cache"
    headers.add_vary_header("Cookie")
    if tag not in [one.strip() for one in asked.split(",")]:
        return body
    start["status"] = 304
    for name in ("content-length", "content-type"):
        del headers[name]
    return {**body, "body": b""}

"""Checks of every request (host, origin) and security headers of every response; hides bidirectional marks."""

import re
from collections.abc import Sequence
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.hidden_marks import shown_marks
from app.web.problems import refuse
from app.web.templating.headers import HTTPS_ONLY_FROM_NOW, SECURITY_HEADERS

LOOPBACK_NAMES = ("127.0.0.1", "localhost", "::1")
_EVERY_ADDRESS = ("0.0.0.0", "::", "")  # addresses to listen on, never a host name of a request
_HOST = re.compile(r"([a-z0-9_.-]+|\[[0-9a-f:.]+\])(:\d{1,5})?")
# what a browser or reader shows as text; a raw log is sent byte for byte
_SHOWN_AS_TEXT = ("text/", "application/json", "application/problem+json", "image/svg+xml")
_USUAL_PORTS = {"http": 80, "https": 443}
SAFE_METHODS = ("GET", "HEAD", "OPTIONS", "TRACE")


class RequestChecksMiddleware:
    """Rejects requests for another host (DNS rebinding) and writing requests from other sites (CSRF).

    A writing request passes if `Sec-Fetch-Site` is same-origin or none; without that header, if `Origin` is our own
    (scheme, host and port) or absent, as from scripts. An allowed host that was given with a port may send it, too.
    """

    def __init__(self, app: ASGIApp, allowed_hosts: Sequence[str] = ()) -> None:
        self.app = app
        # only the name is compared; the port does not matter
        named = {host_name(host) or host.lower().strip("[]") for host in allowed_hosts if host not in _EVERY_ADDRESS}
        self.allowed_hosts = named | set(LOOPBACK_NAMES)
        self.with_ports = [host.lower() for host in allowed_hosts if host_name(host) and host_port(host)]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        is_text = False

        async def send_with_headers(message: Message) -> None:
            nonlocal is_text
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
                if scope["scheme"] == "https":
                    headers.setdefault(*HTTPS_ONLY_FROM_NOW)
                is_text = headers.get("content-type", "").startswith(_SHOWN_AS_TEXT)
            elif is_text and message.get("body"):
                message["body"] = shown_marks(message["body"])
            await send(message)

        refusal = self.refusal(scope["method"], Headers(scope=scope), scope["scheme"])
        if refusal is None:
            await self.app(scope, receive, send_with_headers)
            return
        await refuse(scope, *refusal)(scope, receive, send_with_headers)

    def refusal(self, method: str, headers: Headers, scheme: str = "http") -> tuple[int, str] | None:
        """Status and message of a rejected request; None if it may pass."""
        host = headers.get("host", "")
        if host_name(host) not in self.allowed_hosts:
            return 421, (
                f"The request was sent to the host {host or 'without a name'!r}; this bench responds to "
                f"{', '.join(sorted(self.allowed_hosts))}. Use one of these, or add the name to "
                "HAZEFALL_ALLOWED_HOSTS."
            )
        if method in SAFE_METHODS:
            return None
        site, origin = headers.get("sec-fetch-site"), headers.get("origin")
        if site in ("same-origin", "none") if site else origin is None or self._is_own(origin, scheme, host):
            return None
        return 403, (
            "The request came from another site; changes are only accepted from the bench's own pages and from "
            "scripts. Open the bench in this window and submit the form again. Behind a proxy, check with `hazefall "
            "check --network ADDRESS` that the bench knows its own address."
        )

    def _is_own(self, origin: str, scheme: str, host: str) -> bool:
        """Whether an Origin header is this bench; scheme and port count, because another service may use the host."""
        own = [
            host,
            *(host_with_port for host_with_port in self.with_ports if host_name(host_with_port) == host_name(host)),
        ]
        return _origin(origin) in {_origin(f"{scheme}://{one}") for one in own}


def host_port(host: str) -> int | None:
    """The port in a Host header; None without one.

    >>> host_port("bench.example:8443"), host_port("[::1]")
    (8443, None)
    """
    try:
        return urlsplit(f"//{host}").port
    except ValueError:
        return None


def _origin(address: str) -> tuple[str, str, int | None]:
    """Scheme, host and port of an address; the usual port of a scheme is left out."""
    parts = urlsplit(address)
    port = host_port(parts.netloc)
    return parts.scheme, parts.hostname or "", None if port == _USUAL_PORTS.get(parts.scheme) else port


def host_name(host: str) -> str:
    """The name in a Host header, without port and brackets; "" if it contains invalid characters.

    >>> host_name("[::1]:8000"), host_name("LOCALHOST"), host_name("localhost/sign-in?")
    ('::1', 'localhost', '')
    """
    return urlsplit(f"//{host}").hostname or "" if _HOST.fullmatch(host.lower()) else ""

"""Headers of trusted proxies: scheme, host and client address of a request, taken from nobody else.

Without this, all users behind a proxy share its address, and the bench does not know that their connection is
encrypted.
"""

import logging
from collections.abc import Sequence
from ipaddress import ip_address, ip_network

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from app.services.access.network_policy import is_address, plain_address
from app.services.access.seen_request import UNTRUSTED, SeenRequest
from app.web.security.local_access import is_forwarding_header

_LOG = logging.getLogger("hazefall.network")
_MOST_WARNED_OF = 20  # addresses; a hostile client cannot fill the log


class TrustedProxiesMiddleware:
    """Outermost middleware: everything behind it sees the request as the person or script sent it.

    warned_of : addresses that sent “X-Forwarded-Proto: https” and are not trusted, for the page of administrators
    """

    def __init__(self, app: ASGIApp, trusted: Sequence[str], warned_of: list[str]) -> None:
        self.app = app
        self.networks = [ip_network(address, strict=False) for address in trusted]
        self.warned_of = warned_of

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        peer, port = scope.get("client") or ("", 0)
        peer = plain_address(peer)
        trusted = self.is_trusted(peer)
        forwarding = tuple(dict.fromkeys(name for name in headers if is_forwarding_header(name)))
        says_https = _last(headers, "x-forwarded-proto").lower() == "https"
        if says_https and not trusted:
            self._warn(peer)
        client = self.client_address(headers, peer) if trusted else peer
        inner = dict(scope) | {"client": (client, port) if client else None}
        if trusted:
            inner["scheme"] = "https" if says_https else "http"
            inner["headers"] = _headers(scope, _last(headers, "x-forwarded-host"))
        inner["state"] = scope.get("state", {}) | {
            "seen": SeenRequest(
                scheme=inner["scheme"],
                host=Headers(scope=inner).get("host", ""),
                client_address=client,
                connected_from=peer,
                through_trusted_proxy=trusted,
                forwarding_headers=forwarding,
                says_https=says_https,
            )
        }
        await self.app(inner, receive, send)

    def is_trusted(self, address: str) -> bool:
        return is_address(address) and any(ip_address(address) in network for network in self.networks)

    def client_address(self, headers: Headers, peer: str) -> str:
        """The last address of X-Forwarded-For that is not a trusted proxy; each proxy appends whom it was called by, so
        whatever comes before that may be made up.
        """
        found = peer
        for address in reversed(",".join(headers.getlist("x-forwarded-for")).split(",")):
            named = plain_address(address.strip().strip("[]"))
            if not is_address(named):
                return found
            found = named
            if not self.is_trusted(found):
                return found
        return found

    def _warn(self, peer: str) -> None:
        if peer not in self.warned_of and len(self.warned_of) < _MOST_WARNED_OF:
            self.warned_of.append(peer)
            _LOG.warning(UNTRUSTED.format(peer=peer or "an unknown address"))


def _headers(scope: Scope, host: str) -> list[tuple[bytes, bytes]]:
    """The headers of the request itself: the host that was asked for, and none of a proxy."""
    kept = [(name, value) for name, value in scope["headers"] if not is_forwarding_header(name.decode("latin-1"))]
    if not host:
        return kept
    return [(name, value) for name, value in kept if name.lower() != b"host"] + [(b"host", host.encode("latin-1"))]


def _last(headers: Headers, name: str) -> str:
    """The last value of a header, which the nearest proxy wrote."""
    return ",".join(headers.getlist(name)).rpartition(",")[2].strip()

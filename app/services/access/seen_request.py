"""What the bench sees of a request through the network, and what is wrong with it."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any
from urllib.parse import urlsplit

from app.services.access.network_policy import is_own_machine

UNTRUSTED = (
    "A request came from {peer} with the header “X-Forwarded-Proto: https”, but {peer} is not a trusted proxy, so the "
    "header was ignored: cookies are sent without “Secure”, and everybody behind the proxy shares one limit of sign-in "
    "attempts. If it is your proxy, start the server with HAZEFALL_TRUSTED_PROXIES={peer}."
)


@dataclass(frozen=True, slots=True)
class SeenRequest:
    """One request as the bench understood it.

    client_address : of the person or script; connected_from : of the other end of the connection, perhaps a proxy
    through_trusted_proxy : scheme, host and client address are those that the proxy named
    forwarding_headers : names of the headers of proxies in it, trusted or not
    says_https : a proxy named https, trusted or not
    """

    scheme: str
    host: str
    client_address: str
    connected_from: str
    through_trusted_proxy: bool
    forwarding_headers: tuple[str, ...] = ()
    says_https: bool = False

    def document(self) -> dict[str, Any]:
        return asdict(self)


def seen_from(document: dict[str, Any]) -> SeenRequest:
    """A request from its JSON document."""
    return SeenRequest(**document | {"forwarding_headers": tuple(document["forwarding_headers"])})


def request_problems(seen: SeenRequest, address: str = "") -> Sequence[str]:
    """What is wrong with how requests arrive, each with what to do.

    address : that the request was sent to, if known; it shows more, such as that it began encrypted
    """
    asked = urlsplit(address)
    return [
        problem
        for problem in (_scheme_problem(seen, asked.scheme), _host_problem(seen, asked.netloc), _client_problem(seen))
        if problem
    ]


def _scheme_problem(seen: SeenRequest, asked: str) -> str:
    if seen.scheme == "https":
        return ""
    if not seen.through_trusted_proxy and seen.says_https:
        return UNTRUSTED.format(peer=seen.connected_from)
    if asked == "https" and seen.through_trusted_proxy:
        return (
            f"The proxy {seen.connected_from} does not say that the connection is encrypted. Have it set the header "
            "“X-Forwarded-Proto: https”."
        )
    if asked == "https":
        return (
            f"The address begins with https, but the bench sees http from {seen.connected_from}, which is not a "
            "trusted proxy. Have the proxy set X-Forwarded-For, X-Forwarded-Proto and X-Forwarded-Host, and start the "
            f"server with HAZEFALL_TRUSTED_PROXIES={seen.connected_from}."
        )
    if is_own_machine(seen.client_address) and is_own_machine(_name(seen.host)):
        return ""
    return (
        "The connection is not encrypted, so passwords can be read in transit. Put a TLS proxy in front of the bench."
    )


def _host_problem(seen: SeenRequest, asked: str) -> str:
    if not asked or _default_port(asked) == _default_port(seen.host):
        return ""
    return (
        f"The address names the host {asked}, but the bench sees {seen.host}. Have the proxy pass the host with its "
        "port in “X-Forwarded-Host” (or “Host”)."
    )


def _client_problem(seen: SeenRequest) -> str:
    if seen.through_trusted_proxy and "x-forwarded-for" not in seen.forwarding_headers:
        return (
            f"The proxy {seen.connected_from} does not name the client, so everybody shares one limit of sign-in "
            "attempts. Have it set the header “X-Forwarded-For”."
        )
    if not seen.through_trusted_proxy and seen.forwarding_headers and not seen.says_https:
        return (
            f"The request has headers of a proxy ({', '.join(seen.forwarding_headers)}), but {seen.connected_from} is "
            "not a trusted proxy, so they were ignored. If it is your proxy, start the server with "
            f"HAZEFALL_TRUSTED_PROXIES={seen.connected_from}."
        )
    return ""


def _name(host: str) -> str:
    return urlsplit(f"//{host}").hostname or ""


def _default_port(host: str) -> str:
    return host.lower().removesuffix(":443").removesuffix(":80")

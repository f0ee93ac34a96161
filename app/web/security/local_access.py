"""Access to a bench without accounts: from this machine, past no proxy, and with the secret of the bench.

The address alone proves nothing: a reverse proxy on this machine connects from loopback for anybody, and adds no header
unless it is asked to.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from starlette.requests import HTTPConnection
from starlette.responses import Response
from starlette.types import Scope

from app.services.access.local_secret import (
    PASS_VALID_FOR,
    bench_mark,
    browser_pass,
    is_browser_pass,
    is_secret,
    read_secret,
)
from app.services.access.network_policy import is_own_machine
from app.web.security.request_checks import host_name
from app.web.templating.environment import render_page
from app.web.templating.page_context import make_shell

ENTRY = "/enter"
_FORWARDING = ("forwarded", "via", "x-real-ip", "x-remote-addr", "x-remote-ip")
_NO_LINK = "This browser has no access to this bench."
_USED_LINK = "This link was used before, or is more than a day old."
_FROM_ELSEWHERE = (
    "The request did not come from the bench's own computer. Without an account, the bench answers nobody else. Create "
    "the first account there: hazefall account add NAME --role administer."
)
_THROUGH_PROXY = (
    "The request came through a proxy: it has the header “{header}”. Without an account, the bench answers nobody "
    "through a proxy. Create the first account on its computer: hazefall account add NAME --role administer."
)
FOR_SCRIPTS = (
    "This bench has no accounts, and the request does not contain its secret. Send the header “Authorization: Bearer "
    "SECRET” with the content of the file “local-secret” in the folder of the bench; the server printed its path when "
    "it started."
)


@dataclass(frozen=True, slots=True)
class LockedPage:
    """Why a request was rejected; `can_enter` where a new link would help."""

    title: str
    reason: str
    can_enter: bool


def why_not_local(scope: Scope) -> str:
    """Why a request does not count as one of this machine; "" if it does."""
    headers = HTTPConnection(scope).headers
    for header in headers:
        if is_forwarding_header(header):
            return _THROUGH_PROXY.format(header=header)
    server, client = scope.get("server") or ("", None), scope.get("client") or ("", None)
    # the name counts too: a server behind a proxy is often addressed under another one
    own = is_own_machine(server[0]) and is_own_machine(client[0]) and is_own_machine(host_name(headers.get("host", "")))
    return "" if own else _FROM_ELSEWHERE


def is_forwarding_header(name: str) -> bool:
    """Whether a request header is one that a proxy adds.

    >>> is_forwarding_header("X-Forwarded-For"), is_forwarding_header("Via"), is_forwarding_header("Accept")
    (True, True, False)
    """
    low = name.lower()
    return low.startswith(("x-forwarded", "x-original-")) or low.endswith("client-ip") or low in _FORWARDING


def holds_local_secret(request: HTTPConnection, folder: Path, bearer: str | None) -> bool:
    """Whether a script's token or a browser's cookie proves the secret of the bench in a folder."""
    if bearer is not None:
        return is_secret(folder, bearer)
    secret = read_secret(folder)
    return is_browser_pass(secret, request.cookies.get(local_cookie_name(secret), ""))


def local_cookie_name(secret: str) -> str:
    return f"hazefall-local-{bench_mark(secret)}"


def set_local_cookie(response: Response, secret: str) -> None:
    response.set_cookie(
        local_cookie_name(secret),
        browser_pass(secret),
        max_age=int(PASS_VALID_FOR.total_seconds()),
        path="/",
        httponly=True,
        samesite="strict",
    )


def locked_page(reason: str, *, used_link: bool = False) -> Response:
    """The one page for everybody who is not let in; it shows nothing of the bench.

    reason : from `why_not_local`; "" where only the secret is missing
    """
    page = LockedPage("This bench is locked", reason or (_USED_LINK if used_link else _NO_LINK), not reason)
    shell = replace(make_shell(ENTRY), navigation=())
    answer = render_page("pages/access/locked.html", page, shell, status_code=401)
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["WWW-Authenticate"] = 'Bearer realm="Hazefall"'
    return answer

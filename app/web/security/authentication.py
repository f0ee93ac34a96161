"""Authentication of requests, and the check of each user's role against the route permissions.

Without accounts, only requests on the bench's own machine that hold its secret are allowed. Once an account exists,
everybody signs in, on that machine too, and the secret no longer counts.
"""

from pathlib import Path
from urllib.parse import quote

from anyio import to_thread
from fastapi import Request
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.errors import NotAllowed, StoreProblem
from app.services.access.authenticate import authenticate, has_accounts
from app.services.access.current_user import CurrentUser, record_use
from app.services.access.local_secret import NETWORK_CHECK, use_link_token
from app.services.access.roles import ADMINISTER, WORDS, may
from app.services.store.problems import store_problem_for_readers
from app.web.current_user import current_user, user_of_request
from app.web.problems import refuse
from app.web.security.local_access import ENTRY, FOR_SCRIPTS, holds_local_secret, locked_page, why_not_local
from app.web.security.permissions import ANYBODY, LEAST_ROLE
from app.web.security.session_cookie import session_token

SIGN_IN = "/sign-in"
HEALTH, NETWORK = "/api/health", "/api/network"
PUBLIC_PATHS = frozenset({SIGN_IN, HEALTH})  # of a bench with accounts
PUBLIC_FOLDER = "/static/"
_LONGEST_NEXT = 2000  # nginx answers 502 where the headers of a response fill 4 kB
_SIGN_IN_FIRST = (
    "You are not signed in, or your session has ended. Sign in at /sign-in. You can keep a filled-in form open "
    "meanwhile and submit it again."
)
_NEEDS_TOKEN = (
    "This bench has accounts, and the request has no valid token. Create one under “Your account”, and send it as "
    "the header “Authorization: Bearer TOKEN”."
)


class AuthenticationMiddleware:
    """Authenticates each request, and rejects unknown users before the body is read."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith(PUBLIC_FOLDER):
            await self.app(scope, receive, send)
            return
        engine = scope["state"]["engine"]
        folder = scope["state"]["settings"].data_folder
        found = await to_thread.run_sync(_user_or_refusal, engine, folder, HTTPConnection(scope))
        if isinstance(found, Response):
            await found(scope, receive, send)
            return

        async def send_privately(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                kept = headers.get("cache-control", "no-cache")
                headers["Cache-Control"] = kept if "no-store" in kept or "private" in kept else f"private, {kept}"
            await send(message)

        with user_of_request(found):
            await self.app(scope, receive, send_privately if found is not None and found.name else send)
        if found is not None and found.use_needs_recording:
            await to_thread.run_sync(_record_use, engine, found)


async def require_role(request: Request) -> None:
    """Checks the user's role against the route permissions.

    A route missing from the permissions is for administrators only.
    """
    least, user = LEAST_ROLE.get(f"{request.method} {request.scope['route'].path}", ADMINISTER), current_user()
    if least == ANYBODY:
        return
    if user is None or not may(user.role, least):
        has = user.role if user else "none"
        raise NotAllowed(
            f"Your role is {has!r}; this needs the role {least!r}, which may {WORDS[least]}. Ask an administrator "
            "for it."
        )


def _user_or_refusal(engine: Engine, folder: Path, request: HTTPConnection) -> CurrentUser | Response | None:
    """The user; None for nobody at a public path; else the response that rejects the request."""
    path, bearer = request.scope["path"], _bearer(request)
    if path == NETWORK and bearer is not None and use_link_token(folder, bearer, NETWORK_CHECK):
        return CurrentUser("", "view")  # `hazefall check --network`, which sees nothing else
    not_local = why_not_local(request.scope)
    try:
        user = authenticate(
            engine,
            bearer=bearer,
            session_token=session_token(request.cookies, request.scope["scheme"]),
            holds_local_secret=not not_local and holds_local_secret(request, folder, bearer),
        )
        if user is not None or path == HEALTH:
            return user
        if has_accounts(engine):
            return None if path in PUBLIC_PATHS else _sign_in_first(request)
    except DBAPIError as error:
        problem = store_problem_for_readers(error) or StoreProblem("The store cannot be read. Run `hazefall check`.")
        return refuse(request.scope, problem.status, problem.message)
    if path.startswith(f"{ENTRY}/") and not not_local:
        return None
    return _for_scripts(request, not_local or FOR_SCRIPTS) if _is_script(request) else locked_page(not_local)


def _sign_in_first(request: HTTPConnection) -> Response:
    """Response to a request that nobody has signed in for, on a bench with accounts."""
    # not request.url, which contains the Host header of the client
    path, query = request.scope["path"], request.scope["query_string"].decode("latin-1")
    if _is_script(request):
        return _for_scripts(request, _NEEDS_TOKEN)
    if request.scope["method"] in ("GET", "HEAD"):
        asked = f"{path}?{query}" if query else path
        then = f"?next={quote(asked, safe='')}"
        return RedirectResponse(SIGN_IN + (then if len(then) <= _LONGEST_NEXT else ""), 303)
    return refuse(request.scope, 401, _SIGN_IN_FIRST)


def _is_script(request: HTTPConnection) -> bool:
    path = request.scope["path"]
    return path == "/api" or path.startswith("/api/") or _bearer(request) is not None


def _for_scripts(request: HTTPConnection, detail: str) -> Response:
    refusal = refuse(request.scope, 401, detail)
    refusal.headers["WWW-Authenticate"] = 'Bearer realm="Hazefall"'
    return refusal


def _bearer(request: HTTPConnection) -> str | None:
    """The bearer token of a script, or None. Other schemes are ignored, because a proxy may use them."""
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else None


def _record_use(engine: Engine, user: CurrentUser) -> None:
    try:
        record_use(engine, user)
    except DBAPIError:  # the response was sent; the next writing request reports a busy or full store
        return

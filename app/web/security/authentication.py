"""Authentication of requests, and the check of each user's role against the route permissions.

Without accounts, only requests on the bench's own machine are allowed. Once an account exists,
everybody signs in, on that machine too, because a local request may have come through a proxy.
"""

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
from app.services.access.network_policy import is_own_machine
from app.services.access.roles import ADMINISTER, WORDS, may
from app.services.store.problems import store_problem_from
from app.web.current_user import current_user, user_of_request
from app.web.problems import refuse
from app.web.security.permissions import ANYBODY, LEAST_ROLE
from app.web.security.request_checks import host_name
from app.web.security.session_cookie import session_token

SIGN_IN = "/sign-in"
PUBLIC_PATHS = frozenset({SIGN_IN, "/api/health"})
PUBLIC_FOLDER = "/static/"
_SIGN_IN_FIRST = (
    "You are not signed in, or your session has ended. Sign in at /sign-in. You can keep a filled-in form open "
    "meanwhile and submit it again."
)
_NEEDS_TOKEN = (
    "This bench has accounts, and the request has no valid token. Create one under “Your account”, and send it as "
    "the header “Authorization: Bearer TOKEN”."
)
_NO_ACCOUNT = (
    "This bench has no accounts yet, so it only responds on its own computer. Create the first account there: "
    "hazefall account add NAME --role administer."
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
        found = await to_thread.run_sync(_user_or_refusal, engine, HTTPConnection(scope))
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


class RequireRole:
    """Checks the user's role against the route permissions; one per router, with its URL prefix.

    A route missing from the permissions is for administrators only.
    """

    def __init__(self, prefix: str = "") -> None:
        self.prefix = prefix

    async def __call__(self, request: Request) -> None:
        route = f"{request.method} {self.prefix}{request.scope['route'].path}"
        least, user = LEAST_ROLE.get(route, ADMINISTER), current_user()
        if least == ANYBODY:
            return
        if user is None or not may(user.role, least):
            has = user.role if user else "none"
            raise NotAllowed(
                f"Your role is {has!r}; this needs the role {least!r}, which may {WORDS[least]}. Ask an administrator "
                "for it."
            )


def is_local_request(scope: Scope) -> bool:
    """Whether a request was sent from this machine to this machine, under a name of this machine.

    The name counts too, because a server behind a proxy is addressed under another one.
    """
    server = scope.get("server") or ("", None)
    return is_own_machine(server[0]) and is_own_machine(host_name(HTTPConnection(scope).headers.get("host", "")))


def _user_or_refusal(engine: Engine, request: HTTPConnection) -> CurrentUser | Response | None:
    """The user; None for nobody at a public path; else the response that rejects the request."""
    # not request.url, which contains the Host header of the client
    path, query = request.scope["path"], request.scope["query_string"].decode("latin-1")
    try:
        user = authenticate(
            engine,
            bearer=_bearer(request),
            session_token=session_token(request.cookies, request.scope["scheme"]),
            own_machine=is_local_request(request.scope),
        )
    except DBAPIError as error:
        problem = store_problem_from(error) or StoreProblem("The store cannot be read. Run `hazefall check`.")
        return refuse(request.scope, problem.status, problem.message)
    if user is not None or path in PUBLIC_PATHS:
        return user
    if path == "/api" or path.startswith("/api/") or _bearer(request) is not None:
        refusal = refuse(request.scope, 401, _NEEDS_TOKEN)
        refusal.headers["WWW-Authenticate"] = 'Bearer realm="Hazefall"'
        return refusal
    if not has_accounts(engine):
        return refuse(request.scope, 403, _NO_ACCOUNT)
    if request.scope["method"] in ("GET", "HEAD"):
        asked = f"{path}?{query}" if query else path
        return RedirectResponse(f"{SIGN_IN}?next={quote(asked, safe='')}", 303)
    return refuse(request.scope, 401, _SIGN_IN_FIRST)


def _bearer(request: HTTPConnection) -> str | None:
    """The bearer token of a script, or None. Other schemes are ignored, because a proxy may use them."""
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else None


def _record_use(engine: Engine, user: CurrentUser) -> None:
    try:
        record_use(engine, user)
    except DBAPIError:  # the response was sent; the next writing request reports a busy or full store
        return

"""The session cookie: not readable by scripts, not sent cross-site, and over https only where https is used."""

from collections.abc import Mapping

from starlette.responses import Response

_OPEN, _SECURE = "hazefall-session", "__Host-hazefall-session"


def session_token(cookies: Mapping[str, str], scheme: str) -> str:
    """The token in the cookie of this scheme; "" without one."""
    return cookies.get(_name(scheme), "")


def set_session_cookie(response: Response, token: str, scheme: str) -> None:
    from app.services.access.sign_in import AT_MOST_FOR  # loaded when used: the first page of a bench needs no sign-in

    response.set_cookie(
        _name(scheme),
        token,
        max_age=int(AT_MOST_FOR.total_seconds()),
        path="/",
        secure=scheme == "https",
        httponly=True,
        samesite="strict",
    )


def drop_session_cookie(response: Response, scheme: str) -> None:
    response.delete_cookie(_name(scheme), path="/", secure=scheme == "https", httponly=True, samesite="strict")


def _name(scheme: str) -> str:
    # Browsers accept this name prefix only from the host itself, over https.
    return _SECURE if scheme == "https" else _OPEN

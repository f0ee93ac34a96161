"""The user of the current request, available in the web floor through a context variable."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from app.services.access.current_user import CurrentUser
from app.services.access.roles import may

_PRESENT: ContextVar[CurrentUser | None] = ContextVar("current_user", default=None)


@contextmanager
def user_of_request(user: CurrentUser | None) -> Iterator[None]:
    token = _PRESENT.set(user)
    try:
        yield
    finally:
        _PRESENT.reset(token)


def current_user() -> CurrentUser | None:
    """None before authentication: on the sign-in page, and outside a request."""
    return _PRESENT.get()


def signed_in_name() -> str:
    """Name of the signed-in account; "" for the local user of a bench without accounts."""
    user = _PRESENT.get()
    return user.name if user else ""


def user_may(least: str) -> bool:
    """Whether the user has at least this role; False without a user."""
    user = _PRESENT.get()
    return user is not None and may(user.role, least)


def role_needed(least: str) -> str:
    """Text shown instead of a button that the user's role does not allow."""
    user = _PRESENT.get()
    role = f"Your role is “{user.role}”" if user else "You are not signed in"
    return f"{role}; this needs the role “{least}”. Ask an administrator for it."

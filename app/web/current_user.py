"""The visitor of the request at hand, known everywhere in the web floor without being handed from call to call."""

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
    """None before anybody is known: on the sign-in page, and where no request is at hand."""
    return _PRESENT.get()


def signed_in_name() -> str:
    """Name of the account that is signed in; "" for the person at the desk of a bench without accounts."""
    user = _PRESENT.get()
    return user.name if user else ""


def user_may(least: str) -> bool:
    """Whether the visitor has at least this role; where nobody is known, not even the least."""
    user = _PRESENT.get()
    return user is not None and may(user.role, least)


def role_needed(least: str) -> str:
    """What is said in place of a button that the visitor may not press."""
    user = _PRESENT.get()
    role = f"Your role is “{user.role}”" if user else "Nobody is signed in"
    return f"{role}; this needs the role “{least}”. Ask an administrator of the bench for it."

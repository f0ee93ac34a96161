"""The visitor of the request at hand, known everywhere in the web floor without being handed from call to call."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from app.services.access.current_user import Visitor
from app.services.access.roles import may

_PRESENT: ContextVar[Visitor | None] = ContextVar("present_visitor", default=None)


@contextmanager
def visited_by(visitor: Visitor | None) -> Iterator[None]:
    token = _PRESENT.set(visitor)
    try:
        yield
    finally:
        _PRESENT.reset(token)


def present_visitor() -> Visitor | None:
    """None before anybody is known: on the sign-in page, and where no request is at hand."""
    return _PRESENT.get()


def signed_in_name() -> str:
    """Name of the account that is signed in; "" for the person at the desk of a bench without accounts."""
    visitor = _PRESENT.get()
    return visitor.name if visitor else ""


def visitor_may(least: str) -> bool:
    """Whether the visitor has at least this role; where nobody is known, not even the least."""
    visitor = _PRESENT.get()
    return visitor is not None and may(visitor.role, least)


def role_needed(least: str) -> str:
    """What is said in place of a button that the visitor may not press."""
    visitor = _PRESENT.get()
    role = f"Your role is “{visitor.role}”" if visitor else "Nobody is signed in"
    return f"{role}; this needs the role “{least}”. Ask an administrator of the bench for it."

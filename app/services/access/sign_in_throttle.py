"""Rate limit of sign-in attempts, counted in the database so that several server processes share it."""

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network

from sqlalchemy import Engine, delete, func, select
from sqlalchemy.orm import Session

from app.errors import TooManyAttempts
from app.services.access.accounts import name_key
from app.storage.engine import session_scope
from app.storage.models.accounts import SignInAttempt

COUNTED_FOR = timedelta(minutes=15)
TRIES_PER_NAME = 5
TRIES_PER_ADDRESS = 20


def note_attempt(engine: Engine, name: str, address: str, now: datetime | None = None) -> tuple[int, int]:
    """Counts an attempt before its password is checked, and returns the ids of its rows.

    The attempt is stored first and counted afterwards, so that simultaneous attempts cannot exceed the limit.
    A refused attempt does not count, so that further attempts do not extend the lockout.
    Raises TooManyAttempts with the time to wait.
    """
    at = now or datetime.now(UTC)
    limits = ((by_name(name), TRIES_PER_NAME), (by_address(address), TRIES_PER_ADDRESS))
    with session_scope(engine, writes=False) as session:  # many attempts above the limit keep no writer waiting
        _refuse(max(_wait(session, counted_by, most - 1, at) for counted_by, most in limits))
    with session_scope(engine) as session:
        session.execute(delete(SignInAttempt).where(SignInAttempt.at <= at - COUNTED_FOR))
        rows = [SignInAttempt(counted_by=counted_by, at=at) for counted_by, _ in limits]
        session.add_all(rows)
        session.flush()
        ids = (rows[0].id, rows[1].id)
    with session_scope(engine) as session:
        wait = max(_wait(session, counted_by, most, at) for counted_by, most in limits)
        if wait > timedelta(0):
            forget_attempts(session, ids)
    _refuse(wait)
    return ids


def _refuse(wait: timedelta) -> None:
    if wait <= timedelta(0):
        return
    minutes = max(1, -(-int(wait.total_seconds()) // 60))
    raise TooManyAttempts(
        f"Too many attempts with this name or from this address. Wait {minutes} "
        f"minute{'' if minutes == 1 else 's'} and try again, or ask an administrator for a new password."
    )


def forget_attempts(session: Session, ids: Sequence[int] = (), *, name: str | None = None) -> None:
    """Deletes attempts: by id, or all for a name once its owner has signed in."""
    session.execute(delete(SignInAttempt).where(SignInAttempt.id.in_(ids)))
    if name is not None:
        session.execute(delete(SignInAttempt).where(SignInAttempt.counted_by == by_name(name)))


def by_name(name: str) -> str:
    """Key of a name. Only the hash is stored, in case a password was typed into the name field."""
    return "name " + hashlib.sha256(name_key(name).encode()).hexdigest()


def by_address(address: str) -> str:
    """Key of an address; an IPv6 network (64 bits) counts as one address.

    >>> by_address("2001:db8::1") == by_address("2001:db8::2"), by_address("192.0.2.1") == by_address("192.0.2.2")
    (True, False)
    """
    try:
        parsed = ip_address(address)
    except ValueError:
        shown = address
    else:
        shown = str(ip_network((parsed, 64), strict=False)) if parsed.version == 6 else str(parsed)
    return "address " + hashlib.sha256(shown.encode()).hexdigest()


def _wait(session: Session, counted_by: str, most: int, at: datetime) -> timedelta:
    """Time until one of the counted attempts expires; zero while below the limit."""
    counted = (SignInAttempt.counted_by == counted_by, SignInAttempt.at > at - COUNTED_FOR)
    number = session.scalar(select(func.count()).where(*counted)) or 0
    if number <= most:
        return timedelta(0)
    oldest = session.scalar(select(func.min(SignInAttempt.at)).where(*counted))
    return max(timedelta(seconds=1), COUNTED_FOR - (at - oldest)) if oldest else timedelta(seconds=1)

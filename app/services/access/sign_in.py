"""Signing in and out. A session expires after twelve hours without use, and after seven days in any case."""

from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine, delete, or_, select

from app.errors import NotSignedIn
from app.services.access.accounts import find_account
from app.services.access.current_user import RECORD_USE_EVERY, CurrentUser
from app.services.access.passwords import OF_NOBODY, password_matches
from app.services.access.secret_tokens import new_token, token_hash
from app.services.access.sign_in_throttle import forget_attempts, note_attempt
from app.storage.engine import session_scope
from app.storage.models.accounts import Account, SignIn

IDLE_FOR = timedelta(hours=12)
AT_MOST_FOR = timedelta(days=7)


def sign_in(engine: Engine, name: str, password: str, address: str, *, now: datetime | None = None) -> str:
    """Starts a session and returns its token, which is stored only as a hash.

    A wrong name, a wrong password and a disabled account give the same answer after the same work.
    Raises NotSignedIn, or TooManyAttempts before the password is checked.
    """
    at = now or datetime.now(UTC)
    counted = note_attempt(engine, name, address, at)
    with session_scope(engine, writes=False) as session:
        account = find_account(session, name)
        kept = OF_NOBODY if account is None else account.password_hash
        disabled = account is not None and account.disabled_at is not None
    right = password_matches(kept, password)
    if account is None or not right or disabled:
        raise NotSignedIn("Wrong name or password. Try again.")
    token = new_token()
    with session_scope(engine) as session:
        forget_attempts(session, counted, name=name)
        session.execute(delete(SignIn).where(or_(SignIn.expires_at <= at, SignIn.last_used_at <= at - IDLE_FOR)))
        session.add(
            SignIn(
                account_id=account.id,
                token_sha256=token_hash(token),
                started_at=at,
                last_used_at=at,
                expires_at=at + AT_MOST_FOR,
            )
        )
    return token


def sign_out(engine: Engine, sign_in_id: int) -> None:
    with session_scope(engine) as session:
        session.execute(delete(SignIn).where(SignIn.id == sign_in_id))


def user_of_sign_in(engine: Engine, token: str, now: datetime | None = None) -> CurrentUser | None:
    """User of a session token; None if it is unknown or expired, or its account is disabled."""
    at = now or datetime.now(UTC)
    with session_scope(engine, writes=False) as session:
        row = session.execute(
            select(SignIn.id, SignIn.last_used_at, Account.id, Account.name, Account.role)
            .join(Account, Account.id == SignIn.account_id)
            .where(
                SignIn.token_sha256 == token_hash(token),
                SignIn.expires_at > at,
                SignIn.last_used_at > at - IDLE_FOR,
                Account.disabled_at.is_(None),
            )
        ).first()
    if row is None:
        return None
    sign_in_id, last_used_at, account_id, name, role = row
    return CurrentUser(name, role, account_id, sign_in_id, use_needs_recording=at - last_used_at >= RECORD_USE_EVERY)

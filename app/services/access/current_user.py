"""Who a request comes from, and the note that a sign-in or a token was used."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine, update

from app.services.access.roles import ADMINISTER
from app.storage.engine import session_scope
from app.storage.models.accounts import ApiToken, SignIn

# A use is noted this often and not with each request: reading pages should not write.
RECORD_USE_EVERY = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class CurrentUser:
    """A person or a script of theirs.

    name : of the account; "" for the person at the desk of a bench without accounts
    role : what may be done
    sign_in_id : of the browser's sign-in; None for a script and for the person at the desk
    token_id : of a script's token
    use_needs_recording : the last note of a use is some minutes old
    """

    name: str
    role: str
    account_id: int | None = None
    sign_in_id: int | None = None
    token_id: int | None = None
    use_needs_recording: bool = False


LOCAL_USER = CurrentUser("", ADMINISTER)


def record_use(engine: Engine, user: CurrentUser, now: datetime | None = None) -> None:
    """Writes down that the visitor's sign-in or token is in use; to be called once the answer is sent."""
    at = now or datetime.now(UTC)
    with session_scope(engine) as session:
        if user.sign_in_id is not None:
            session.execute(update(SignIn).where(SignIn.id == user.sign_in_id).values(last_used_at=at))
        if user.token_id is not None:
            session.execute(update(ApiToken).where(ApiToken.id == user.token_id).values(last_used_at=at))

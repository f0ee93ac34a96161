"""The user of a request, and the record of when a session or token was last used."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine, update

from app.services.access.roles import ADMINISTER
from app.storage.engine import session_scope

# Last use is recorded this often and not with each request, so that reading pages does not write.
RECORD_USE_EVERY = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class CurrentUser:
    """A person, or a script of theirs.

    name : of the account; "" for the local user of a bench without accounts
    role : the role that limits what they may do
    sign_in_id : of the browser session; None for a script and for the local user
    token_id : of a script's token
    use_needs_recording : the recorded last use is some minutes old
    """

    name: str
    role: str
    account_id: int | None = None
    sign_in_id: int | None = None
    token_id: int | None = None
    use_needs_recording: bool = False


LOCAL_USER = CurrentUser("", ADMINISTER)


def record_use(engine: Engine, user: CurrentUser, now: datetime | None = None) -> None:
    """Records that the user's session or token is in use. Call it after the response is sent."""
    from app.storage.models.accounts import ApiToken, SignIn  # loaded when used, as in `authenticate`

    at = now or datetime.now(UTC)
    with session_scope(engine) as session:
        if user.sign_in_id is not None:
            session.execute(update(SignIn).where(SignIn.id == user.sign_in_id).values(last_used_at=at))
        if user.token_id is not None:
            session.execute(update(ApiToken).where(ApiToken.id == user.token_id).values(last_used_at=at))

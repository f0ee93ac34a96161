"""API tokens for scripts: named for one purpose, shown once, revocable at any time."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.access.accounts import SUBJECT, get_account
from app.services.access.current_user import RECORD_USE_EVERY, CurrentUser
from app.services.access.roles import checked_role, lesser, may
from app.services.access.secret_tokens import new_token, token_hash
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import required_text
from app.storage.engine import session_scope
from app.storage.models.accounts import Account
from app.storage.models.accounts import ApiToken as ApiToken

PREFIX = "hazefall_"
_SHOWN = len(PREFIX) + 6


def add_api_token(
    session: Session,
    account_id: int,
    name: str,
    role: str,
    *,
    who: str = AT_THE_DESK,
) -> str:
    """Creates a token for an account and returns it. It is shown only once and stored as a hash.

    Raises InvalidValue where the role is above that of the account.
    """
    account = get_account(session, account_id)
    checked_name = required_text(name, "token_name", "The purpose of the token")
    if not may(account.role, checked_role(role)):
        raise InvalidValue(
            f"The token cannot have the role {role!r}, because {account.name} has the role {account.role!r}. A token "
            "cannot have more permissions than its account.",
            field="role",
        )
    token = new_token(PREFIX)
    session.add(
        ApiToken(
            account_id=account_id,
            name=checked_name,
            role=role,
            token_sha256=token_hash(token),
            token_start=token[:_SHOWN],
            created_at=datetime.now(UTC),
        )
    )
    record_change(session, who, "added", SUBJECT, account_id, "token", None, f"{checked_name}, {role}")
    return token


def list_api_tokens(session: Session, account_id: int | None = None) -> Sequence[ApiToken]:
    """Tokens of one account, or of all, newest first; includes revoked ones."""
    statement = select(ApiToken).order_by(ApiToken.id.desc())
    return session.scalars(
        statement if account_id is None else statement.where(ApiToken.account_id == account_id)
    ).all()


def revoke_api_token(
    session: Session,
    token_id: int,
    *,
    of_account: int | None = None,
    who: str = AT_THE_DESK,
) -> None:
    """Revokes a token. `of_account` limits it to the tokens of one account. Raises NotFound."""
    token = session.get(ApiToken, token_id)
    if token is None or (of_account is not None and token.account_id != of_account):
        raise NotFound("token", token_id)
    if token.revoked_at is not None:
        return
    token.revoked_at = datetime.now(UTC)
    record_change(session, who, "revoked", SUBJECT, token.account_id, "token", f"{token.name}, {token.role}")


def user_of_api_token(engine: Engine, token: str, now: datetime | None = None) -> CurrentUser | None:
    """The user of a token; None for a token that is unknown, revoked, or of a disabled account."""
    at = now or datetime.now(UTC)
    with session_scope(engine, writes=False) as session:
        row = session.execute(
            select(ApiToken.id, ApiToken.role, ApiToken.last_used_at, Account.id, Account.name, Account.role)
            .join(Account, Account.id == ApiToken.account_id)
            .where(
                ApiToken.token_sha256 == token_hash(token),
                ApiToken.revoked_at.is_(None),
                Account.disabled_at.is_(None),
            )
        ).first()
    if row is None:
        return None
    token_id, role, last_used_at, account_id, name, account_role = row
    needs_recording = last_used_at is None or at - last_used_at >= RECORD_USE_EVERY
    return CurrentUser(
        name, lesser(role, account_role), account_id, token_id=token_id, use_needs_recording=needs_recording
    )

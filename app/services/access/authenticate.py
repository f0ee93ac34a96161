"""Authenticates a request: a script by its token, a person by the session, or the local user without accounts."""

from sqlalchemy import Engine

from app.services.access.accounts import accounts_exist
from app.services.access.api_tokens import user_of_api_token
from app.services.access.current_user import LOCAL_USER, CurrentUser
from app.services.access.sign_in import user_of_sign_in
from app.storage.engine import session_scope


def authenticate(engine: Engine, *, bearer: str | None, session_token: str, own_machine: bool) -> CurrentUser | None:
    """The user of a request; None if it cannot be authenticated.

    bearer : token of a script; None if the request has none. With a token, nothing else counts.
    own_machine : the request came from this machine and is addressed to it
    """
    if bearer is not None:
        return user_of_api_token(engine, bearer)
    user = user_of_sign_in(engine, session_token) if session_token else None
    if user is not None or not own_machine:
        return user
    return None if has_accounts(engine) else LOCAL_USER


def has_accounts(engine: Engine) -> bool:
    with session_scope(engine, writes=False) as session:
        return accounts_exist(session)

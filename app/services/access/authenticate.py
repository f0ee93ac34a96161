"""Finds out who a request is from: a script by its token, a person by the sign-in, or the person at the desk."""

from sqlalchemy import Engine

from app.services.access.accounts import accounts_exist
from app.services.access.api_tokens import user_of_api_token
from app.services.access.current_user import LOCAL_USER, CurrentUser
from app.services.access.sign_in import user_of_sign_in
from app.storage.engine import session_scope


def authenticate(engine: Engine, *, bearer: str | None, session_token: str, own_machine: bool) -> CurrentUser | None:
    """The visitor; None for nobody that the bench knows.

    bearer : token of a script; None where the request carries none. Where it carries one, nothing else counts.
    own_machine : the request was sent on this machine to this machine
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

"""Finds out who a request is from: a script by its token, a person by the sign-in, or the person at the desk."""

from sqlalchemy import Engine

from app.services.access.accounts import accounts_exist
from app.services.access.api_tokens import visitor_of_api_token
from app.services.access.current_user import AT_THE_DESK_ALONE, Visitor
from app.services.access.sign_in import visitor_of_sign_in
from app.storage.engine import session_scope


def who_comes(engine: Engine, *, bearer: str | None, session_token: str, own_machine: bool) -> Visitor | None:
    """The visitor; None for nobody that the bench knows.

    bearer : token of a script; None where the request carries none. Where it carries one, nothing else counts.
    own_machine : the request was sent on this machine to this machine
    """
    if bearer is not None:
        return visitor_of_api_token(engine, bearer)
    visitor = visitor_of_sign_in(engine, session_token) if session_token else None
    if visitor is not None or not own_machine:
        return visitor
    return None if has_accounts(engine) else AT_THE_DESK_ALONE


def has_accounts(engine: Engine) -> bool:
    with session_scope(engine, writes=False) as session:
        return accounts_exist(session)

"""Authenticates a request: a script by its token, a person by the session, or the local user without accounts."""

from sqlalchemy import Engine, column, exists, select, table

from app.services.access.current_user import LOCAL_USER, CurrentUser

# without the model, whose tables a bench without accounts does not need
_ANY_ACCOUNT = select(exists(select(column("id")).select_from(table("accounts"))))


def authenticate(
    engine: Engine, *, bearer: str | None, session_token: str, holds_local_secret: bool
) -> CurrentUser | None:
    """The user of a request; None if it cannot be authenticated.

    bearer : token of a script; None if the request has none. With a token, nothing else counts.
    holds_local_secret : the request comes from this machine and proves the secret of a bench without accounts
    """
    if holds_local_secret and not has_accounts(engine):
        return LOCAL_USER
    if bearer is not None:
        from app.services.access.api_tokens import user_of_api_token  # loaded when used

        return user_of_api_token(engine, bearer)
    if not session_token:
        return None
    from app.services.access.sign_in import user_of_sign_in  # loaded when used

    return user_of_sign_in(engine, session_token)


def has_accounts(engine: Engine) -> bool:
    """Asked with each request, so without a session: a third of the processor time."""
    with engine.connect() as connection:
        return bool(connection.scalar(_ANY_ACCOUNT))

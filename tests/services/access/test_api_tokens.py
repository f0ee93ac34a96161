"""Tokens of scripts: never more than the account may, gone when revoked, kept as a hash."""

import pytest
from sqlalchemy import Engine

from app.errors import InvalidValue, NotFound
from app.services.access.accounts import SUBJECT, change_role, disable_account
from app.services.access.api_tokens import add_api_token, list_api_tokens, revoke_api_token, user_of_api_token
from app.services.access.current_user import RECORD_USE_EVERY, record_use
from app.services.store.audit import changes_of
from app.storage.engine import session_scope
from tests.conftest import NOW
from tests.sample_data.accounts import make_account


@pytest.fixture
def bea(store: Engine) -> int:
    with session_scope(store) as session:
        make_account(session, "Ann")
        return make_account(session, "Bea", "edit")


def test_a_token_says_whose_script_it_is_until_it_is_revoked(store: Engine, bea: int):
    with session_scope(store) as session:
        token = add_api_token(session, bea, "upload job", "add", who="Bea")
        (kept,) = list_api_tokens(session, bea)
        assert token not in (kept.token_sha256, kept.token_start)
        assert token.startswith(kept.token_start)
    user = user_of_api_token(store, token)
    assert user is not None
    assert (user.name, user.role, user.account_id, user.sign_in_id) == ("Bea", "add", bea, None)
    with session_scope(store) as session:
        revoke_api_token(session, kept.id, who="Ann")
        revoke_api_token(session, kept.id, who="Ann")
        found = [(c.who, c.action, c.field, c.before, c.after) for c in changes_of(session, SUBJECT, bea)]
    assert found == [
        ("Ann", "revoked", "token", "upload job, add", None),
        ("Bea", "added", "token", None, "upload job, add"),
    ]
    assert user_of_api_token(store, token) is None


def test_a_token_never_does_more_than_its_account(store: Engine, bea: int):
    with session_scope(store) as session:
        with pytest.raises(InvalidValue, match="the role 'administer', because Bea has the role 'edit'"):
            add_api_token(session, bea, "too much", "administer")
        token = add_api_token(session, bea, "a job", "edit")
        change_role(session, bea, "view")
    user = user_of_api_token(store, token)
    assert user is not None
    assert user.role == "view"
    with session_scope(store) as session:
        disable_account(session, bea)
    assert user_of_api_token(store, token) is None


def test_nobody_revokes_the_token_of_another_account(store: Engine, bea: int):
    with session_scope(store) as session:
        add_api_token(session, bea, "a job", "view")
        (kept,) = list_api_tokens(session)
        with pytest.raises(NotFound, match=f"There is no token {kept.id} in this bench"):
            revoke_api_token(session, kept.id, of_account=bea - 1)


def test_the_last_use_is_noted_now_and_then(store: Engine, bea: int):
    with session_scope(store) as session:
        token = add_api_token(session, bea, "a job", "view")
    user = user_of_api_token(store, token, NOW)
    assert user is not None
    assert user.use_needs_recording
    record_use(store, user, NOW)
    soon, later = (user_of_api_token(store, token, at) for at in (NOW, NOW + RECORD_USE_EVERY))
    assert soon is not None
    assert later is not None
    assert (soon.use_needs_recording, later.use_needs_recording) == (False, True)


def test_an_unknown_token_is_nobodys(store: Engine, bea: int):
    for token in ("", "hazefall_", "hazefall_" + "x" * 43, "\udcff"):
        assert user_of_api_token(store, token) is None

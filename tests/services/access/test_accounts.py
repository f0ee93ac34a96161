"""Accounts: names, roles, the last administrator, passwords, and the record of all that."""

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.access.accounts import (
    SUBJECT,
    account_named,
    accounts_exist,
    add_account,
    change_role,
    disable_account,
    enable_account,
    get_account,
    list_accounts,
    set_password,
)
from app.services.access.passwords import password_matches
from app.services.access.roles import checked_role
from app.services.access.sign_in import sign_in, user_of_sign_in
from app.services.store.audit import changes_of
from app.storage.engine import session_scope
from app.storage.models.accounts import SignIn
from tests.sample_data.accounts import PASSWORD, make_account


def test_the_first_account_administers_and_is_recorded_without_its_password(session: Session):
    assert not accounts_exist(session)
    account_id = add_account(session, " Ann ", "administer", PASSWORD, who="Bea")
    assert accounts_exist(session)
    account = get_account(session, account_id)
    assert (account.name, account.role, account.disabled_at) == ("Ann", "administer", None)
    assert account.password_hash.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert PASSWORD not in account.password_hash
    (change,) = changes_of(session, SUBJECT, account_id)
    assert (change.who, change.action, change.after) == ("Bea", "added", "Ann, administer")


def test_a_first_account_that_could_not_look_after_others_is_refused(session: Session):
    with pytest.raises(
        InvalidValue,
        match="first account cannot have the role 'edit'; it needs the role 'administer' so that it can manage",
    ):
        add_account(session, "Ann", "edit", PASSWORD)


def test_two_names_that_differ_in_capitals_only_are_one(session: Session):
    make_account(session, "Ann")
    with pytest.raises(AlreadyStored, match=r"An account 'ANN' already exists\. Choose another name"):
        add_account(session, "ANN", "view", PASSWORD)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("", "The name is empty"),
        ("A" * 61, "The name has 61 characters; at most 60 are allowed"),
        ("An\u202en", "contains a hidden character that changes"),
        ("An\nn", "contains invisible characters. Use"),
    ],
)
def test_a_name_that_cannot_be_read_is_refused(session: Session, name: str, message: str):
    with pytest.raises(InvalidValue, match=message):
        add_account(session, name, "administer", PASSWORD)


def test_a_role_that_is_none_is_refused_with_those_there_are(session: Session):
    with pytest.raises(InvalidValue, match="'owner'; choose one of: view, add, edit, administer"):
        checked_role("owner")


@pytest.mark.parametrize(
    ("password", "message"),
    [
        ("too short", "has 9 characters; it needs at least 12"),
        ("a" * 257, "has 257 characters; at most 256"),
        ("abababababab", "repeats a few characters."),
        ("Annabel Lee of Sea", "is the name"),
    ],
)
def test_a_password_that_is_easily_guessed_is_refused(session: Session, password: str, message: str):
    with pytest.raises(InvalidValue, match=message):
        add_account(session, "Annabel Lee of Sea", "administer", password)


def test_the_last_administrator_stays(session: Session):
    ann = make_account(session, "Ann")
    bea = make_account(session, "Bea", "edit")
    for act in (lambda: change_role(session, ann, "edit"), lambda: disable_account(session, ann)):
        with pytest.raises(InvalidValue, match="Ann is the only administrator of the bench"):
            act()
    change_role(session, bea, "administer")
    change_role(session, ann, "view")
    assert get_account(session, ann).role == "view"


def test_each_change_of_an_account_is_recorded_once(session: Session):
    ann, bea = make_account(session, "Ann"), make_account(session, "Bea", "add")
    change_role(session, bea, "edit", who="Ann")
    change_role(session, bea, "edit", who="Ann")
    disable_account(session, bea, who="Ann")
    disable_account(session, bea, who="Ann")
    enable_account(session, bea, who="Ann")
    enable_account(session, bea, who="Ann")
    set_password(session, bea, "another few words", who="Ann")
    found = [(c.action, c.field, c.before, c.after, c.who) for c in changes_of(session, SUBJECT, bea)]
    assert found[::-1] == [
        ("changed", "role", "add", "edit", "Ann"),
        ("disabled", "", None, None, "Ann"),
        ("enabled", "", None, None, "Ann"),
        ("changed", "password", None, None, "Ann"),
    ]
    assert password_matches(get_account(session, bea).password_hash, "another few words")
    assert [account.name for account in list_accounts(session)] == ["Ann", "Bea"]
    assert ann != bea


def test_a_name_nobody_has_is_told(session: Session):
    with pytest.raises(NotFound, match="There is no account 'Cy' in this bench"):
        account_named(session, "Cy")
    with pytest.raises(NotFound, match="There is no account 99 in this bench"):
        get_account(session, 99)


def test_a_new_password_and_disabling_end_every_sign_in(store):
    with session_scope(store) as session:
        make_account(session, "Ann")
        bea = make_account(session, "Bea", "view")
    first, second = (sign_in(store, "bea", PASSWORD, "192.0.2.1") for _ in range(2))
    kept = user_of_sign_in(store, first)
    assert kept is not None
    with session_scope(store) as session:
        set_password(session, bea, "another few words", kept_sign_in=kept.sign_in_id)
    assert user_of_sign_in(store, first) is not None
    assert user_of_sign_in(store, second) is None
    with session_scope(store) as session:
        disable_account(session, bea)
        assert session.scalar(select(func.count()).select_from(SignIn)) == 0
    assert user_of_sign_in(store, first) is None

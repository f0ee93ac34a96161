"""Signing in: what is kept, when it ends, what a wrong try is told, and how many tries are taken."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from sqlalchemy import Engine, select, update

from app.errors import NotSignedIn, TooManyAttempts
from app.services.access import sign_in as signing_in
from app.services.access.current_user import RECORD_USE_EVERY, CurrentUser, record_use
from app.services.access.passwords import OF_NOBODY, password_hash, password_matches
from app.services.access.sign_in import AT_MOST_FOR, IDLE_FOR, sign_in, sign_out, user_of_sign_in
from app.services.access.sign_in_throttle import (
    COUNTED_FOR,
    TRIES_PER_ADDRESS,
    TRIES_PER_NAME,
    forget_attempts,
    note_attempt,
)
from app.storage.engine import session_scope
from app.storage.models.accounts import Account, SignIn, SignInAttempt
from app.storage.models.all_models import METADATA
from tests.conftest import NOW
from tests.sample_data.accounts import PASSWORD, make_account


@pytest.fixture
def ann(store: Engine) -> int:
    with session_scope(store) as session:
        return make_account(session, "Ann", "administer")


def test_a_sign_in_says_who_it_is_and_ends_when_told(store: Engine, ann: int):
    token = sign_in(store, " ANN ", PASSWORD, "192.0.2.1", now=NOW)
    user = user_of_sign_in(store, token, NOW)
    assert user is not None
    assert (user.name, user.role, user.account_id) == ("Ann", "administer", ann)
    sign_out(store, user.sign_in_id)
    assert user_of_sign_in(store, token, NOW) is None


def test_neither_token_nor_password_stands_in_the_store(store: Engine, ann: int):
    token = sign_in(store, "Ann", PASSWORD, "192.0.2.1")
    with pytest.raises(NotSignedIn):
        sign_in(store, "my secret typed as a name", "x", "192.0.2.1")
    with store.connect() as connection:
        text = "\n".join(str(row) for table in METADATA.sorted_tables for row in connection.execute(select(table)))
    assert "Ann" in text
    for secret in (token, PASSWORD, "my secret", "192.0.2.1"):
        assert secret not in text


def test_it_ends_after_a_time_without_use(store: Engine, ann: int):
    token = sign_in(store, "Ann", PASSWORD, "192.0.2.1", now=NOW)
    almost = NOW + IDLE_FOR - timedelta(seconds=1)
    assert user_of_sign_in(store, token, almost) is not None
    assert user_of_sign_in(store, token, NOW + IDLE_FOR) is None


def test_use_keeps_it_going_until_its_last_day(store: Engine, ann: int):
    token, at = sign_in(store, "Ann", PASSWORD, "192.0.2.1", now=NOW), NOW
    while at < NOW + AT_MOST_FOR - timedelta(hours=6):
        at += timedelta(hours=6)
        user = user_of_sign_in(store, token, at)
        if at >= NOW + AT_MOST_FOR:
            break
        assert user is not None
        assert user.use_needs_recording
        record_use(store, user, at)
    assert user_of_sign_in(store, token, NOW + AT_MOST_FOR) is None


def test_reading_does_not_write_with_every_request(store: Engine, ann: int):
    token = sign_in(store, "Ann", PASSWORD, "192.0.2.1", now=NOW)
    soon, later = NOW + RECORD_USE_EVERY - timedelta(seconds=1), NOW + RECORD_USE_EVERY
    assert [user_of_sign_in(store, token, at).use_needs_recording for at in (soon, later)] == [False, True]
    record_use(store, CurrentUser("", "view"), later)  # who has neither sign-in nor token leaves no note
    with session_scope(store) as session:
        assert session.scalar(select(SignIn.last_used_at)) == NOW


def test_ended_sign_ins_are_removed_with_the_next_one(store: Engine, ann: int):
    sign_in(store, "Ann", PASSWORD, "192.0.2.1", now=NOW)
    sign_in(store, "Ann", PASSWORD, "192.0.2.1", now=NOW + AT_MOST_FOR)
    with session_scope(store) as session:
        assert len(session.scalars(select(SignIn.id)).all()) == 1


def test_wrong_name_wrong_password_and_disabled_are_told_alike_after_the_same_work(
    store: Engine, ann: int, monkeypatch
):
    compared = []

    def counted(kept: str, password: str) -> bool:
        compared.append(kept)
        return password_matches(kept, password)

    monkeypatch.setattr(signing_in, "password_matches", counted)
    with session_scope(store) as session:
        session.execute(update(Account).values(disabled_at=NOW))
    messages = []
    for name, password in (("Ann", "wrong password"), ("Nobody", PASSWORD), ("Ann", PASSWORD)):
        with pytest.raises(NotSignedIn) as refused:
            sign_in(store, name, password, "192.0.2.1", now=NOW)
        messages.append(refused.value.message)
    assert set(messages) == {"Wrong name or password. Try again."}
    assert len(compared) == 3
    assert compared[1] == OF_NOBODY


def test_the_stand_in_for_unknown_names_costs_what_a_new_hash_costs():
    assert OF_NOBODY.split("$")[1:4] == password_hash(PASSWORD).split("$")[1:4]
    assert not password_matches(OF_NOBODY, PASSWORD)


def test_a_password_is_the_same_however_its_signs_are_put_together():
    kept = password_hash("caf\u00e9 au lait complet")
    assert password_matches(kept, "cafe\u0301 au lait complet")
    assert not password_matches(kept, "x" * 2000)
    assert not password_matches("no hash at all", PASSWORD)


def test_after_some_wrong_tries_a_name_waits_whatever_the_address(store: Engine, ann: int):
    for number in range(TRIES_PER_NAME):
        with pytest.raises(NotSignedIn):
            sign_in(store, "Ann", "wrong password", f"192.0.2.{number}", now=NOW)
    with pytest.raises(TooManyAttempts, match=r"this name or from this address\. Wait 15 minutes"):
        sign_in(store, "ann", PASSWORD, "192.0.2.77", now=NOW)
    with pytest.raises(TooManyAttempts, match="Wait 1 minute and"):
        sign_in(store, "ann", PASSWORD, "192.0.2.77", now=NOW + COUNTED_FOR - timedelta(seconds=30))
    # refused tries were not counted, so the wait is over when it was said to be
    assert sign_in(store, "ann", PASSWORD, "192.0.2.77", now=NOW + COUNTED_FOR)


def test_an_address_that_tries_many_names_waits_too(store: Engine, ann: int):
    for number in range(TRIES_PER_ADDRESS):
        note_attempt(store, f"name {number}", "192.0.2.1", NOW)
    with pytest.raises(TooManyAttempts):
        sign_in(store, "Ann", PASSWORD, "192.0.2.1", now=NOW)
    assert sign_in(store, "Ann", PASSWORD, "192.0.2.2", now=NOW)


def test_one_network_of_ipv6_counts_as_one_address(store: Engine):
    for number in range(TRIES_PER_ADDRESS):
        note_attempt(store, f"name {number}", f"2001:db8::{number:x}", NOW)
    with pytest.raises(TooManyAttempts):
        note_attempt(store, "another", "2001:db8::ffff", NOW)


def test_a_right_try_takes_the_wrong_ones_before_it_off_the_count(store: Engine, ann: int):
    for _ in range(3):
        for _ in range(TRIES_PER_NAME - 1):
            note_attempt(store, "Ann", "192.0.2.1", NOW)
        sign_in(store, "Ann", PASSWORD, "192.0.2.9", now=NOW)
    with session_scope(store) as session:
        forget_attempts(session, name="Ann")


def test_an_attempt_above_the_limit_waits_for_no_writer(store: Engine):
    for number in range(TRIES_PER_NAME):
        note_attempt(store, "Ann", f"192.0.2.{number}", NOW)
    with session_scope(store) as session:
        session.execute(select(Account.id))  # others write
        with pytest.raises(TooManyAttempts):
            note_attempt(store, "Ann", "192.0.2.99", NOW)


def test_of_many_tries_at_one_moment_no_more_than_allowed_get_through(store: Engine):
    def one_try(number: int) -> bool:
        try:
            note_attempt(store, "Ann", f"192.0.2.{number}", NOW)
        except TooManyAttempts:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        through = sum(pool.map(one_try, range(24)))
    assert 1 <= through <= TRIES_PER_NAME
    with session_scope(store) as session:
        assert len(session.scalars(select(SignInAttempt.id)).all()) == 2 * through


def test_old_tries_are_removed(store: Engine):
    note_attempt(store, "Ann", "192.0.2.1", NOW)
    note_attempt(store, "Bea", "testclient", NOW + COUNTED_FOR)
    with session_scope(store) as session:
        assert len(session.scalars(select(SignInAttempt.id)).all()) == 2

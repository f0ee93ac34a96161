"""Pages of sign-in, of one's own account and of all accounts."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, select

from app.services.access.api_tokens import list_api_tokens
from app.services.access.sign_in import AT_MOST_FOR
from app.services.access.sign_in_throttle import TRIES_PER_NAME
from app.storage.engine import session_scope
from app.storage.models.accounts import Account
from app.storage.models.bench import Change
from tests.sample_data.accounts import PASSWORD, make_account
from tests.web.page_checks import faults_of

RIGHT = {"name": "Ann", "password": PASSWORD}


@pytest.fixture
def ann(store: Engine) -> int:
    with session_scope(store) as session:
        return make_account(session, "Ann")


@pytest.fixture
def signed_in(ann: int, client: TestClient) -> TestClient:
    assert client.post("/sign-in", data=RIGHT).status_code == 303
    return client


def test_signing_in_leads_back_to_where_the_reader_wanted_to_go(ann: int, client: TestClient):
    turned_away = client.get("/units?search=a+b")
    assert turned_away.headers["location"] == "/sign-in?next=%2Funits%3Fsearch%3Da%2Bb"
    page = client.get(turned_away.headers["location"])
    assert page.headers["cache-control"] == "no-store"
    assert faults_of(page.text) == []
    next_address = re.search(r'name="next" value="([^"]*)"', page.text)[1]
    answer = client.post("/sign-in", data=RIGHT | {"next": next_address})
    assert (answer.status_code, answer.headers["location"]) == (303, "/units?search=a+b")
    assert client.get("/units").status_code == 200
    assert "You are signed in as Ann" in client.get("/sign-in").text


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(ann: int, client: TestClient):
    parts = client.post("/sign-in", data=RIGHT).headers["set-cookie"].split("; ")
    assert re.fullmatch(r"hazefall-session=[\w-]{43}", parts[0])
    assert set(parts[1:]) == {"HttpOnly", "Path=/", "SameSite=strict", f"Max-Age={AT_MOST_FOR.total_seconds():.0f}"}


def test_over_https_the_cookie_never_goes_in_the_open(ann: int, client: TestClient):
    client.base_url = "https://127.0.0.1"
    parts = client.post("/sign-in", data=RIGHT).headers["set-cookie"].split("; ")
    assert parts[0].startswith("__Host-hazefall-session=")
    assert "Secure" in parts
    assert client.get("/units").status_code == 200
    assert client.post("/sign-out").status_code == 303
    assert client.get("/units").status_code == 303


@pytest.mark.parametrize(
    "next_address", ["//bench.example/", "https://bench.example", "/\\bench.example", "", "/a\r\nb"]
)
def test_nobody_is_led_to_another_site(ann: int, client: TestClient, next_address: str):
    answer = client.post("/sign-in", data=RIGHT | {"next": next_address})
    assert answer.headers["location"] == "/"
    assert "bench.example" not in client.get("/sign-in", params={"next": next_address}).text


def test_a_wrong_password_keeps_the_name_and_shows_no_password(ann: int, client: TestClient):
    answer = client.post("/sign-in", data={"name": "Ann", "password": "not the right one"})
    assert answer.status_code == 401
    assert "Wrong name or password. Try" in answer.text
    assert 'value="Ann"' in answer.text
    assert "not the right one" not in answer.text
    assert "set-cookie" not in answer.headers
    assert faults_of(answer.text) == []


def test_too_many_tries_are_told_to_wait(ann: int, client: TestClient):
    for _ in range(TRIES_PER_NAME):
        client.post("/sign-in", data={"name": "Ann", "password": "wrong"})
    answer = client.post("/sign-in", data=RIGHT)
    assert answer.status_code == 429
    assert "Too many attempts with this name" in answer.text


def test_a_sign_in_from_another_site_is_refused(ann: int, client: TestClient):
    answer = client.post("/sign-in", data=RIGHT, headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


def test_signing_out_ends_the_sign_in_on_the_server_too(signed_in: TestClient):
    token = signed_in.cookies["hazefall-session"]
    answer = signed_in.post("/sign-out")
    assert answer.status_code == 303
    assert 'hazefall-session=""' in answer.headers["set-cookie"]
    signed_in.cookies.set("hazefall-session", token)
    assert signed_in.get("/units").status_code == 303


def test_what_is_changed_stands_under_the_name_of_the_account(signed_in: TestClient, store: Engine):
    form = signed_in.get("/rooms/add").text
    assert "Recorded under your name, Ann." in form
    assert 'name="who"' not in form
    signed_in.post("/rooms/add", data={"room": "Room A", "room_volume_m3": "30", "who": "Somebody else"})
    with session_scope(store) as session:
        assert session.scalars(select(Change.who).where(Change.subject == "room")).all() == ["Ann"]


def test_a_new_password_needs_the_present_one_and_ends_other_sign_ins(signed_in: TestClient, store: Engine):
    wrong = {"present_password": "no", "password": "another few words", "password_again": "another few wordz"}
    answer = signed_in.post("/account/password", data=wrong)
    assert answer.status_code == 422
    assert "Wrong current password" in answer.text
    assert "The two new passwords differ" in answer.text
    assert "another few" not in answer.text
    right = {"present_password": PASSWORD, "password": "another few words", "password_again": "another few words"}
    assert signed_in.post("/account/password", data=right).status_code == 303
    assert signed_in.get("/account").status_code == 200  # this browser stays signed in
    assert signed_in.post("/sign-in", data=RIGHT).status_code == 401
    assert signed_in.post("/sign-in", data=RIGHT | {"password": "another few words"}).status_code == 303


def test_the_present_password_is_not_found_out_by_trying(signed_in: TestClient):
    """An attacker at a signed-in browser cannot guess it, and the owner can still sign in."""
    new = {"password": "another few words", "password_again": "another few words"}
    for _ in range(TRIES_PER_NAME):
        assert signed_in.post("/account/password", data=new | {"present_password": "wrong"}).status_code == 422
    answer = signed_in.post("/account/password", data=new | {"present_password": PASSWORD})
    assert answer.status_code == 429
    assert "Too many attempts" in answer.text
    assert signed_in.post("/sign-in", data=RIGHT).status_code == 303


def test_a_right_password_takes_its_tries_off_the_count(signed_in: TestClient):
    for number in range(2):
        for _ in range(TRIES_PER_NAME - 1):
            signed_in.post(
                "/account/password", data={"present_password": "wrong", "password": "", "password_again": ""}
            )
        right = {"present_password": PASSWORD, "password": PASSWORD, "password_again": PASSWORD}
        assert signed_in.post("/account/password", data=right).status_code == 303, number


def test_a_token_is_shown_once_used_and_revoked(signed_in: TestClient):
    made = signed_in.post("/account/tokens", data={"token_name": "upload job", "role": "add"})
    assert made.status_code == 200
    assert made.headers["cache-control"] == "no-store"
    assert faults_of(made.text) == []
    token = re.search(r"<code>(hazefall_[\w-]{43})</code>", made.text)[1]
    page = signed_in.get("/account").text
    assert token not in page
    assert "upload job" in page
    bearer = {"Authorization": f"Bearer {token}"}
    signed_in.cookies.clear()
    assert signed_in.get("/api/units", headers=bearer).status_code == 200
    signed_in.post("/sign-in", data=RIGHT)
    assert signed_in.post("/account/tokens/1/revoke").status_code == 303
    signed_in.cookies.clear()
    assert signed_in.get("/api/units", headers=bearer).status_code == 401


def test_a_token_makes_no_other_token_and_ends_none(signed_in: TestClient, store: Engine):
    """It would get the whole role of its account, which it was not given."""
    made = signed_in.post("/account/tokens", data={"token_name": "display", "role": "view"}).text
    bearer = {"Authorization": "Bearer " + re.search(r"<code>(hazefall_[\w-]{43})</code>", made)[1]}
    signed_in.cookies.clear()
    new = {"present_password": PASSWORD, "password": "another few words", "password_again": "another few words"}
    for path, data in (
        ("/account/tokens", {"token_name": "more", "role": "administer"}),
        ("/account/tokens", {"token_name": "more", "role": "view"}),
        ("/account/tokens/1/revoke", {}),
        ("/account/password", new),
    ):
        answer = signed_in.post(path, data=data, headers=bearer)
        assert answer.status_code == 403, path
        assert "token. Passwords and tokens can only be changed by a signed-in person" in answer.text
    with session_scope(store) as session:
        assert [(token.role, token.revoked_at) for token in list_api_tokens(session)] == [("view", None)]
    assert signed_in.post("/sign-in", data=RIGHT).status_code == 303


def test_a_token_without_a_purpose_is_refused(signed_in: TestClient):
    answer = signed_in.post("/account/tokens", data={"token_name": "", "role": "add"})
    assert answer.status_code == 422
    assert "The purpose of the token is empty" in answer.text
    assert "shown only once" not in answer.text


def test_the_first_account_by_the_page_then_everybody_signs_in(client: TestClient, store: Engine):
    page = client.get("/accounts")
    assert "There are no accounts" in page.text
    assert faults_of(page.text) == []
    weak = client.post("/accounts", data={"name": "Ann", "role": "administer", "password": "short"})
    assert weak.status_code == 422
    assert "it needs at least 12" in weak.text
    added = client.post("/accounts", data=RIGHT | {"role": "administer"})
    assert added.headers["location"] == "/sign-in"
    assert client.get("/accounts").status_code == 303
    assert client.post("/accounts", data=RIGHT | {"name": "Eve", "role": "administer"}).status_code == 401
    with session_scope(store) as session:
        assert session.scalars(select(Account.name)).all() == ["Ann"]


def test_an_administrator_keeps_accounts_by_the_page(signed_in: TestClient):
    assert signed_in.post("/accounts", data={"name": "Bea", "role": "add", "password": PASSWORD}).status_code == 303
    page = signed_in.get("/accounts").text
    assert faults_of(page) == []
    bea = re.search(r'href="(/accounts/\d+)">Bea', page)[1]
    for action, data in (
        ("role", {"role": "edit"}),
        ("password", {"password": "another few words"}),
        ("disable", {}),
        ("enable", {}),
    ):
        assert signed_in.post(f"{bea}/{action}", data=data).status_code == 303
    page = signed_in.get(bea).text
    assert faults_of(page) == []
    for words in ("was added", "role was changed", "password was changed", "was disabled", "was enabled"):
        assert words in page
    ann = bea.replace("2", "1")
    for action, data in (("role", {"role": "view"}), ("disable", {})):
        refused = signed_in.post(f"{ann}/{action}", data=data)
        assert refused.status_code == 422
        assert "Ann is the only administrator of the bench" in refused.text
    assert signed_in.post(f"{bea}/password", data={"password": "x"}).status_code == 422
    assert signed_in.get("/accounts/99").status_code == 404


def test_an_administrator_revokes_the_token_of_another(signed_in: TestClient):
    signed_in.post("/account/tokens", data={"token_name": "job", "role": "view"})
    page = signed_in.get("/accounts/1").text
    assert 'action="/accounts/1/tokens/1/revoke"' in page
    assert signed_in.post("/accounts/1/tokens/1/revoke").status_code == 303
    assert "revoked" in signed_in.get("/accounts/1").text


def test_without_an_account_nobody_has_a_token_or_a_password(client: TestClient):
    for path in ("/account/tokens", "/account/password"):
        answer = client.post(path, data={"token_name": "job", "role": "view"})
        assert answer.status_code == 422
        assert "There are no accounts" in answer.text or "no account" in answer.text

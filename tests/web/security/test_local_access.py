"""A bench without accounts is served to whoever holds its secret on its machine, and to nobody else."""

import stat
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine, func, select

from app.services.access.local_secret import PASS_VALID_FOR, ensure_secret, new_link_token, read_secret, secret_file
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.accounts import Account
from app.web.application import make_app
from app.web.security.local_access import why_not_local
from tests.sample_data.accounts import PASSWORD, make_account
from tests.sample_data.local_access import THIS_MACHINE, local_browser, local_cookie, local_script
from tests.web.page_checks import faults_of
from tests.web.security.test_authentication import asked, routes

FORWARDED = {
    "Forwarded": "for=192.0.2.1",
    "X-Forwarded-For": "192.0.2.1",
    "X-Forwarded-Proto": "http",
    "X-Forwarded-Host": "localhost",
    "X-Forwarded-Server": "proxy",
    "X-Real-IP": "127.0.0.1",
    "Via": "1.1 proxy",
    "True-Client-IP": "192.0.2.1",
    "X-Original-Forwarded-For": "192.0.2.1",
}


@pytest.fixture
def stranger(app: FastAPI):
    """Whoever reaches the server from this machine without the secret, such as a proxy with its default settings."""
    with TestClient(app, base_url="http://127.0.0.1", client=THIS_MACHINE, follow_redirects=False) as opened:
        yield opened


def test_without_the_secret_every_route_answers_the_one_page(stranger: TestClient, subtests):
    for route in [*routes(), "GET /api/openapi.json", "GET /no-such-page", "POST /no-such-page"]:
        if route in ("GET /api/health", "GET /enter/{token}"):
            continue
        with subtests.test(route=route):
            answer = asked(stranger, route)
            assert answer.status_code == 401
            assert answer.headers["www-authenticate"] == 'Bearer realm="Hazefall"'
            if " /api" in route:
                assert answer.headers["content-type"] == "application/problem+json"
                assert "Authorization: Bearer SECRET" in answer.json()["detail"]
            else:
                assert "This bench is locked" in answer.text
                assert "hazefall link" in answer.text
                assert answer.headers["cache-control"] == "no-store"


def test_the_page_is_well_made_and_says_nothing_of_the_bench(stranger: TestClient, store: Engine, settings: Settings):
    page = stranger.get("/").text
    assert faults_of(page) == []
    assert str(settings.data_folder) not in page
    assert read_secret(settings.data_folder) not in page


def test_health_says_that_it_runs_the_kind_of_store_and_the_version(stranger: TestClient):
    answer = stranger.get("/api/health")
    assert answer.status_code == 200
    assert answer.json().keys() == {"status", "store", "version"}
    assert answer.json()["store"] in ("sqlite", "postgresql")


def test_no_account_can_be_made_without_the_secret(stranger: TestClient, store: Engine):
    form = {"name": "Eve", "role": "administer", "password": PASSWORD}
    for headers in ({}, {"host": "localhost"}, {"sec-fetch-site": "same-origin"}, {"Authorization": "Bearer x"}):
        assert stranger.post("/accounts", data=form, headers=headers).status_code == 401
    with session_scope(store) as session:
        assert session.scalar(select(func.count(Account.id))) == 0


def test_the_link_gives_one_browser_a_strict_cookie(stranger: TestClient, settings: Settings):
    token = new_link_token(settings.data_folder)
    answer = stranger.get(f"/enter/{token}")
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    name, *parts = answer.headers["set-cookie"].split("; ")
    assert name.startswith("hazefall-local-")
    assert read_secret(settings.data_folder) not in name
    assert set(parts) == {"HttpOnly", "Path=/", "SameSite=strict", f"Max-Age={PASS_VALID_FOR.total_seconds():.0f}"}
    assert stranger.get("/units").status_code == 200
    stranger.cookies.clear()
    again = stranger.get(f"/enter/{token}")
    assert again.status_code == 401
    assert "This link was used before" in again.text
    assert "set-cookie" not in again.headers
    assert stranger.get("/units").status_code == 401


def test_a_link_checker_does_not_use_the_link_up(stranger: TestClient, settings: Settings):
    token = new_link_token(settings.data_folder)
    for _ in range(2):
        looked = stranger.head(f"/enter/{token}")
        assert (looked.status_code, "set-cookie" in looked.headers) == (303, False)
    assert stranger.get("/units").status_code == 401
    assert "set-cookie" in stranger.get(f"/enter/{token}").headers


def test_a_browser_that_is_in_leaves_the_link_to_another(client: TestClient, settings: Settings):
    token = new_link_token(settings.data_folder)
    assert client.get(f"/enter/{token}").headers["location"] == "/"
    client.cookies.clear()
    assert "set-cookie" in client.get(f"/enter/{token}").headers


def test_a_script_sends_the_content_of_the_file(stranger: TestClient, settings: Settings):
    assert stranger.get("/api/units", headers=local_script(settings.data_folder)).status_code == 200
    wrong = {"Authorization": local_script(settings.data_folder)["Authorization"][:-1]}
    assert stranger.get("/api/units", headers=wrong).status_code == 401
    # with a token, nothing else counts
    stranger.cookies.update(local_cookie(settings.data_folder))
    assert stranger.get("/api/units").status_code == 200
    assert stranger.get("/api/units", headers=wrong).status_code == 401


def test_a_new_secret_shuts_everybody_out_at_once(client: TestClient, settings: Settings):
    assert client.get("/units").status_code == 200
    secret_file(settings.data_folder).unlink()
    assert client.get("/units").status_code == 401
    ensure_secret(settings.data_folder)
    assert client.get("/units").status_code == 401


@pytest.mark.parametrize("header", FORWARDED)
def test_nobody_comes_through_a_proxy_with_the_secret_either(client: TestClient, settings: Settings, header: str):
    token = new_link_token(settings.data_folder)
    for path in ("/units", "/accounts", f"/enter/{token}"):
        answer = client.get(path, headers={header: FORWARDED[header]})
        assert answer.status_code == 401
        assert f"it has the header “{header.lower()}”" in answer.text
        assert "set-cookie" not in answer.headers
    script = local_script(settings.data_folder) | {header: FORWARDED[header]}
    assert "through a proxy" in client.get("/api/units", headers=script).json()["detail"]
    assert client.get(f"/enter/{token}").status_code == 303  # it was not used up


@pytest.mark.parametrize("address", [("192.0.2.1", 50_000), ("testclient", 50_000), ("10.0.0.1", 1)])
def test_another_machine_is_refused_with_the_secret_too(app: FastAPI, settings: Settings, address: tuple[str, int]):
    cookies = local_cookie(settings.data_folder)
    with TestClient(app, base_url="http://127.0.0.1", client=address, cookies=cookies) as client:
        answer = client.get("/units")
        assert answer.status_code == 401
        assert "did not come from the bench's own computer" in answer.text.replace("&#39;", "'")


@pytest.mark.parametrize(
    ("server", "client", "host", "own"),
    [
        (("127.0.0.1", 8000), ("127.0.0.1", 1), "localhost:8000", True),
        (("::1", 8000), ("::1", 1), "[::1]:8000", True),
        (("192.0.2.1", 8000), ("127.0.0.1", 1), "127.0.0.1:8000", False),
        (("127.0.0.1", 8000), ("192.0.2.1", 1), "127.0.0.1:8000", False),
        (("127.0.0.1", 8000), ("127.0.0.1", 1), "bench.example", False),
        (("/run/bench.sock", None), ("127.0.0.1", 1), "localhost", False),
        (("127.0.0.1", 8000), None, "localhost", False),
        (None, ("127.0.0.1", 1), "localhost", False),
        (("127.0.0.1", 8000), ("127.0.0.1", 1), "", False),
    ],
)
def test_the_own_machine_is_known_by_both_sockets_and_by_the_name(server, client, host: str, own: bool):
    scope = {"type": "http", "server": server, "client": client, "headers": [(b"host", host.encode())]}
    assert (why_not_local(scope) == "") == own


def test_once_there_is_an_account_the_secret_opens_nothing(client: TestClient, store: Engine, settings: Settings):
    with session_scope(store) as session:
        make_account(session, "Ann")
    assert client.get("/units").status_code == 303
    assert client.get("/api/units", headers=local_script(settings.data_folder)).status_code == 401
    answer = client.get(f"/enter/{new_link_token(settings.data_folder)}")
    assert answer.headers["location"].startswith("/sign-in?next=%2Fenter%2F")
    assert "set-cookie" not in answer.headers


def test_two_benches_on_one_machine_keep_apart(settings: Settings, tmp_path: Path):
    """A browser sends the cookies of one host name to all its ports."""
    other = replace(settings, data_folder=tmp_path / "other", database_url="")
    other.data_folder.mkdir()
    cookies = local_cookie(settings.data_folder) | local_cookie(other.data_folder)
    assert len(cookies) == 2
    with local_browser(make_app(other), other) as client:
        client.cookies.clear()
        client.cookies.update(local_cookie(settings.data_folder))
        assert client.get("/units").status_code == 401
        client.cookies.update(local_cookie(other.data_folder))
        assert client.get("/units").status_code == 200


def test_the_server_makes_the_secret_itself(settings: Settings):
    with TestClient(make_app(settings)):
        assert stat.S_IMODE(secret_file(settings.data_folder).stat().st_mode) & 0o077 == 0

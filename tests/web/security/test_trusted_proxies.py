"""Scheme, host and client address come from trusted proxies, and from nobody else."""

import logging
import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from starlette.datastructures import Headers

from app.errors import AccountNeeded, InvalidValue
from app.services.access.network_policy import require_account_for_network
from app.services.access.sign_in_throttle import TRIES_PER_ADDRESS
from app.settings import Settings, read_settings
from app.storage.engine import session_scope
from app.web.application import make_app
from app.web.security.trusted_proxies import TrustedProxiesMiddleware
from tests.sample_data.accounts import PASSWORD, make_account
from tests.web.page_checks import faults_of

PROXY = ("10.0.0.2", 40_000)
HTTPS = {
    "X-Forwarded-For": "192.0.2.7",
    "X-Forwarded-Proto": "https",
    "X-Forwarded-Host": "bench.example:8443",
}
RIGHT = {"name": "Ann", "password": PASSWORD}


@pytest.fixture
def behind_proxy(settings: Settings, store: Engine) -> FastAPI:
    with session_scope(store) as session:
        make_account(session, "Ann")
    return make_app(replace(settings, allowed_hosts=("bench.example",), trusted_proxies=("10.0.0.0/24",)))


@pytest.fixture
def proxy(behind_proxy: FastAPI) -> Iterator[TestClient]:
    with TestClient(behind_proxy, base_url="http://bench.example", client=PROXY, follow_redirects=False) as client:
        yield client


@pytest.fixture
def untrusted(behind_proxy: FastAPI) -> Iterator[TestClient]:
    address = ("198.51.100.1", 1)
    with TestClient(behind_proxy, base_url="http://bench.example", client=address, follow_redirects=False) as client:
        yield client


@pytest.mark.parametrize(
    ("header", "client"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("203.0.113.66, 192.0.2.7", "192.0.2.7"),  # what comes first was made up by the client
        ("192.0.2.7, 10.0.0.9", "192.0.2.7"),  # a second trusted proxy
        ("10.0.0.9", "10.0.0.9"),
        ("made up, 10.0.0.9", "10.0.0.9"),
        ("", "10.0.0.2"),
        ("made up", "10.0.0.2"),
        ("2001:db8::7", "2001:db8::7"),
        ("[2001:db8::7]", "2001:db8::7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
    ],
)
def test_the_client_is_the_last_address_that_is_no_trusted_proxy(header: str, client: str):
    middleware = TrustedProxiesMiddleware(FastAPI(), ["10.0.0.0/24"], [])
    assert middleware.client_address(Headers({"x-forwarded-for": header}), "10.0.0.2") == client


def test_addresses_of_both_kinds_and_none_are_no_error():
    middleware = TrustedProxiesMiddleware(FastAPI(), ["10.0.0.0/24", "fd00::1"], [])
    trusted = [middleware.is_trusted(address) for address in ("10.0.0.1", "fd00::1", "10.0.1.1", "fd00::2", "", "x")]
    assert trusted == [True, True, False, False, False, False]


def test_through_a_trusted_proxy_the_cookie_is_secure_and_https_is_kept(proxy: TestClient):
    answer = proxy.post("/sign-in", data=RIGHT, headers=HTTPS)
    parts = answer.headers["set-cookie"].split("; ")
    assert parts[0].startswith("__Host-hazefall-session=")
    assert "Secure" in parts
    assert answer.headers["strict-transport-security"] == "max-age=31536000"
    cookie = {"cookie": parts[0]}
    assert proxy.get("/units", headers=HTTPS | cookie).status_code == 200
    assert proxy.get("/units", headers=cookie).status_code == 303  # the same cookie in the open


def test_from_anybody_else_the_headers_change_nothing(untrusted: TestClient):
    answer = untrusted.post("/sign-in", data=RIGHT, headers=HTTPS)
    assert answer.headers["set-cookie"].startswith("hazefall-session=")
    assert "Secure" not in answer.headers["set-cookie"]
    assert "strict-transport-security" not in answer.headers
    assert untrusted.get("/api/health", headers={"host": "evil.example", "X-Forwarded-Host": "bench.example"}).is_error


def test_the_host_of_a_trusted_proxy_is_checked_like_any_other(proxy: TestClient):
    assert proxy.get("/api/health", headers=HTTPS).status_code == 200
    assert proxy.get("/api/health", headers=HTTPS | {"X-Forwarded-Host": "evil.example"}).status_code == 421


def _tries(client: TestClient, forwarded_for: str) -> list[int]:
    """Statuses of wrong sign-ins, each with another name and, where the header has {}, another forged address."""
    return [
        client.post(
            "/sign-in",
            data={"name": f"Name {number}", "password": "wrong"},
            headers={"X-Forwarded-For": forwarded_for.format(number)},
        ).status_code
        for number in range(TRIES_PER_ADDRESS + 4)
    ]


@pytest.mark.parametrize("kind", ["proxy", "untrusted"])
def test_a_forged_address_helps_nobody_to_guess(request: pytest.FixtureRequest, kind: str):
    statuses = _tries(request.getfixturevalue(kind), "203.0.113.{}, 192.0.2.7")
    assert statuses == [401] * TRIES_PER_ADDRESS + [429] * 4


def test_the_clients_of_one_proxy_do_not_lock_each_other_out(proxy: TestClient):
    assert _tries(proxy, "192.0.2.{}") == [401] * (TRIES_PER_ADDRESS + 4)


ORIGINS = {
    "https://bench.example:8443": 422,  # past the check, to that of the form
    "http://bench.example:8443": 403,
    "https://bench.example": 403,
    "https://bench.example:9443": 403,
    "https://evil.example:8443": 403,
    "null": 403,
}


@pytest.mark.parametrize("origin", ORIGINS)
def test_only_the_own_origin_may_write_scheme_and_port_included(proxy: TestClient, origin: str):
    cookie = proxy.post("/sign-in", data=RIGHT, headers=HTTPS).headers["set-cookie"].split(";")[0]
    answer = proxy.post("/api/units", json={}, headers=HTTPS | {"origin": origin, "cookie": cookie})
    assert answer.status_code == ORIGINS[origin], answer.text


@pytest.mark.parametrize(
    ("told", "origin", "passes"),
    [
        ("bench.example:8443", "https://bench.example:8443", True),
        ("bench.example", "https://bench.example:8443", False),
        ("bench.example:8443", "http://bench.example:8443", False),
        ("bench.example:443", "https://bench.example", True),
        ("other.example:8443", "https://bench.example:8443", False),
    ],
)
def test_a_port_may_be_told_where_the_proxy_passes_none(settings: Settings, store: Engine, told, origin, passes):
    with session_scope(store) as session:
        make_account(session, "Ann")
    app = make_app(replace(settings, allowed_hosts=(told, "bench.example"), trusted_proxies=("10.0.0.2",)))
    passed = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "192.0.2.7", "origin": origin}
    with TestClient(app, base_url="http://bench.example", client=PROXY, follow_redirects=False) as client:
        assert client.post("/sign-in", data=RIGHT, headers=passed).status_code == (303 if passes else 403)


def test_links_of_a_downloaded_draft_are_those_of_the_proxy(settings: Settings, tried_bench, store: Engine):
    with session_scope(store) as session:
        make_account(session, "Ann")
    app = make_app(replace(settings, allowed_hosts=("bench.example",), trusted_proxies=("10.0.0.2",)))
    with TestClient(app, base_url="http://127.0.0.1", client=PROXY, follow_redirects=False) as client:
        cookie = client.post("/sign-in", data=RIGHT, headers=HTTPS).headers["set-cookie"].split(";")[0]
        draft = client.get("/units/1/draft.md", headers=HTTPS | {"cookie": cookie}).text
    links = set(re.findall(r"https?://[^/)\s]+", draft))
    assert links == {"https://bench.example:8443"}


def test_an_untrusted_https_is_logged_once_and_shown_to_administrators(
    untrusted: TestClient, caplog: pytest.LogCaptureFixture
):
    with caplog.at_level(logging.WARNING, logger="hazefall.network"):
        for _ in range(3):
            untrusted.get("/api/health", headers={"X-Forwarded-Proto": "https"})
    (said,) = [record.getMessage() for record in caplog.records if record.name == "hazefall.network"]
    assert said.startswith("A request came from 198.51.100.1 with the header “X-Forwarded-Proto: https”")
    assert said.endswith("start the server with HAZEFALL_TRUSTED_PROXIES=198.51.100.1.")
    untrusted.post("/sign-in", data=RIGHT)
    page = untrusted.get("/about").text
    assert "198.51.100.1 is not a trusted proxy" in page
    assert faults_of(page) == []


def test_warnings_do_not_fill_the_log(caplog: pytest.LogCaptureFixture):
    warned_of: list[str] = []
    middleware = TrustedProxiesMiddleware(FastAPI(), [], warned_of)
    for number in range(300):
        middleware._warn(f"192.0.{number // 250}.{number % 250}")
    assert len(warned_of) == 20


def test_the_about_page_says_what_the_bench_sees(proxy: TestClient):
    cookie = proxy.post("/sign-in", data=RIGHT, headers=HTTPS).headers["set-cookie"].split(";")[0]
    page = proxy.get("/about", headers=HTTPS | {"cookie": cookie}).text
    assert "https, host bench.example:8443, client 192.0.2.7, from 10.0.0.2" in page
    assert "Network:" not in page
    seen = proxy.get("/api/network", headers=HTTPS | {"cookie": cookie}).json()
    assert seen["problems"] == []
    assert seen["seen"]["client_address"] == "192.0.2.7"
    assert seen["seen"]["through_trusted_proxy"] is True


def test_a_proxy_setting_without_an_account_is_refused(settings: Settings, store: Engine):
    with pytest.raises(AccountNeeded, match=r"HAZEFALL_TRUSTED_PROXIES=127\.0\.0\.1\), but it has no account"):
        require_account_for_network(replace(settings, trusted_proxies=("127.0.0.1",)), store)


def test_the_setting_takes_addresses_and_networks(settings: Settings, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("HAZEFALL_TRUSTED_PROXIES", "127.0.0.1, fd00::/8")
    assert read_settings(settings.data_folder).trusted_proxies == ("127.0.0.1", "fd00::/8")
    monkeypatch.setenv("HAZEFALL_TRUSTED_PROXIES", "127.0.0.1, proxy.example")
    with pytest.raises(InvalidValue, match=r"names 'proxy.example', which is not an address. Use addresses such as"):
        read_settings(settings.data_folder)

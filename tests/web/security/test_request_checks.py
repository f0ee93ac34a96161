"""Request checks: right host, right origin, and headers on every response."""

from dataclasses import replace

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from starlette.datastructures import Headers

from app.services.access.accounts import add_account
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from app.web.security.request_checks import RequestChecksMiddleware


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8000", "localhost:8000", "[::1]:8000", "LOCALHOST"])
def test_the_names_of_this_machine_are_answered(client: TestClient, host: str):
    assert client.get("/api/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "bench.example",
        "127.0.0.1.bench.example",
        "localhost.bench.example",
        "[::2]",
        "[x",
        "127.0.0.1/sign-in?",
        "user@127.0.0.1",
    ],
)
def test_another_host_is_refused_with_the_names_that_work(client: TestClient, host: str):
    """DNS rebinding: a foreign name that points at this machine must not reach the bench."""
    answer = client.get("/api/health", headers={"host": host})
    assert answer.status_code == 421
    assert host in answer.json()["detail"]
    assert "responds to 127.0.0.1, ::1, localhost" in answer.json()["detail"]
    assert "HAZEFALL_ALLOWED_HOSTS" in answer.json()["detail"]


def test_a_named_host_is_answered(settings: Settings, store: Engine):
    with session_scope(store) as session:
        add_account(session, "Ann", "administer", "several words in a row")
    named = replace(settings, allowed_hosts=("Bench.example",))
    with TestClient(make_app(named), base_url="http://bench.example") as client:
        assert client.get("/api/health").status_code == 200


@pytest.mark.parametrize("told", ["Bench.example:8443", "[fd00::1]", "fd00::1", "[fd00::1]:8443"])
def test_a_host_may_be_told_with_port_and_brackets(told: str):
    guard = RequestChecksMiddleware(FastAPI(), allowed_hosts=(told,))
    asked = "bench.example:8443" if "example" in told else "[fd00::1]:8443"
    assert guard.refusal("GET", Headers({"host": asked})) is None


def test_listening_everywhere_is_no_name():
    guard = RequestChecksMiddleware(FastAPI(), allowed_hosts=("0.0.0.0", "::"))
    assert guard.allowed_hosts == {"127.0.0.1", "localhost", "::1"}


FORGED = [
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"sec-fetch-site": "cross-site", "origin": "http://127.0.0.1"},
    {"origin": "http://bench.example"},
    {"origin": "null"},
    {"origin": "http://127.0.0.1:9999"},
]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("headers", FORGED)
def test_a_change_asked_for_by_another_site_is_refused(client: TestClient, method: str, headers: dict[str, str]):
    answer = client.request(method, "/api/units", headers=headers)
    assert answer.status_code == 403
    assert answer.headers["content-type"] == "application/problem+json"
    assert "came from another site" in answer.json()["detail"]


OURS = [
    {},
    {"sec-fetch-site": "same-origin"},
    {"sec-fetch-site": "none"},
    {"origin": "http://127.0.0.1"},
]


@pytest.mark.parametrize("headers", OURS)
def test_our_own_pages_and_scripts_may_change_things(client: TestClient, headers: dict[str, str]):
    assert client.post("/api/units", headers=headers, json={}).status_code == 422  # past the guard, to the form's check


def test_reading_from_another_site_is_left_to_the_browser(client: TestClient):
    answer = client.get("/api/health", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 200
    assert "access-control-allow-origin" not in answer.headers
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize("path", ["/api/health", "/no-such-page", "/static/base.css"])
def test_every_answer_carries_the_headers(client: TestClient, path: str):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'")
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-inline" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_a_refusal_of_a_page_is_a_page_with_headers(client: TestClient):
    answer = client.post("/trials/add", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403
    assert answer.headers["content-type"].startswith("text/html")
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert "came from another site" in answer.text


def test_no_policy_ever_allows_inline_scripts(app: FastAPI):
    from app.web.templating.headers import CHART_PAGE_POLICY, PAGE_POLICY

    for policy in (PAGE_POLICY, CHART_PAGE_POLICY):
        directives = dict(part.strip().split(" ", 1) for part in policy.split(";"))
        assert directives["script-src"] == "'self'"
        assert directives["style-src"] == "'self'"
        assert directives["connect-src"] == "'self'"


ANSWERS = [
    ("GET", "/"),
    ("GET", "/curves"),
    ("GET", "/sign-in"),
    ("GET", "/no-such-page"),
    ("GET", "/units/999"),
    ("DELETE", "/units"),
    ("GET", "/units/"),
    ("GET", "/api/openapi.json"),
    ("GET", "/api/units?limit=none"),
    ("GET", "/figures/ranking.json"),
    ("GET", "/charts/ranking.svg"),
    ("GET", "/charts/ranking.png"),
    ("GET", "/charts/ranking.html"),
    ("GET", "/charts/ranking.csv"),
    ("GET", "/tables/ranking.html"),
    ("GET", "/bulk/units.csv"),
    ("GET", "/static/base.css"),
    ("GET", "/static/no-such.css"),
]


@pytest.mark.parametrize(("method", "path"), ANSWERS)
def test_no_answer_of_any_kind_allows_a_script_inside_it(client: TestClient, method: str, path: str):
    headers = client.request(method, path).headers
    directives = dict(
        part.strip().partition(" ")[::2] for part in headers["content-security-policy"].split(";") if part.strip()
    )
    assert directives["default-src"] == "'none'"
    assert directives.get("script-src", "'none'") in ("'self'", "'none'")
    assert headers["x-content-type-options"] == "nosniff"

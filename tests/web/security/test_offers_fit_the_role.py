"""Pages offer only what the user's role allows: each link and form is compared with the route permissions."""

import re
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.access.roles import may
from app.storage.engine import session_scope
from app.web.security.permissions import LEAST_ROLE
from tests.sample_data.accounts import PASSWORD, make_account
from tests.web.tried_bench import TriedBench

_PATTERNS = [
    (route.split(" ")[0], re.compile(re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(route.split(" ")[1]))), route)
    for route in sorted(LEAST_ROLE, key=lambda route: route.count("{"))  # "/units/add" before "/units/{unit_id}"
]
START = ("/", "/trials/3", "/units/1", "/units/3", "/rooms/1/edit", "/smoke-sources/1/edit", "/units/1/draft", "/bench")
MOST_PAGES = 120


class _Offers(HTMLParser):
    """Links, and forms that can be sent: a form without a button is none."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[tuple[str, str]] = set()
        self._form: tuple[str, str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag == "a" and told.get("href"):
            self.found.add(("GET", told["href"] or ""))
        elif tag == "form":
            self._form = ((told.get("method") or "get").upper(), told.get("action") or "")
        elif tag == "button" and self._form and told.get("type", "submit") == "submit" and "disabled" not in told:
            self.found.add((self._form[0], told.get("formaction") or self._form[1]))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None


def _route_of(method: str, path: str) -> str | None:
    return next((route for verb, pattern, route in _PATTERNS if verb == method and pattern.fullmatch(path)), None)


@pytest.mark.parametrize("role", ["view", "add", "edit"])
def test_a_page_offers_nothing_that_the_role_may_not(
    client: TestClient, tried_bench: TriedBench, store: Engine, role: str
):
    client.post("/trials/4/trash", data={"trash_why": "Internal error. This request saved nothing. See the server"})
    client.post("/trials/6/exclude", data={"why": "a draught"})
    with session_scope(store) as session:
        make_account(session, "Vera", role)
    assert client.post("/sign-in", data={"name": "Vera", "password": PASSWORD}).status_code == 303
    waiting, seen, wrong, offered = list(START), set(START), set(), set()
    while waiting and len(seen) < MOST_PAGES:
        page = waiting.pop(0)
        answer = client.get(page)
        assert answer.status_code in (200, 303), (page, answer.status_code)
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue
        offers = _Offers()
        offers.feed(answer.text)
        for method, target in offers.found:
            asked = urlsplit(urljoin(page, target))
            if asked.netloc or asked.path.startswith("/static/"):
                continue
            route = _route_of(method, asked.path)
            assert route is not None or asked.path == "/api/openapi.json", (page, method, target)
            if route is None:
                continue
            offered.add(route)
            if LEAST_ROLE[route] != "anybody" and not may(role, LEAST_ROLE[route]):
                wrong.add((page, route))
            elif method == "GET" and asked.path not in seen and not re.search(r"\.\w{2,4}$", asked.path):
                seen.add(asked.path)
                waiting.append(asked.path)
    assert sorted(wrong) == []
    assert len(seen) > 30
    able = {"view": "POST /sign-out", "add": "POST /trials/add", "edit": "POST /trials/{trial_id}/exclude"}
    assert able[role] in offered  # what the role may do is offered somewhere


def test_a_form_that_cannot_be_sent_says_which_role_it_needs(
    client: TestClient, tried_bench: TriedBench, store: Engine, subtests
):
    with session_scope(store) as session:
        make_account(session, "Vera", "view")
    client.post("/sign-in", data={"name": "Vera", "password": PASSWORD})
    for path, needed in (
        ("/units/1/edit", "edit"),
        ("/rooms/1/edit", "edit"),
        ("/trials/3/edit", "edit"),
        ("/smoke-sources/1/edit", "edit"),
        ("/units/1/sound", "add"),
        ("/tariffs", "add"),
        ("/bench", "administer"),
    ):
        with subtests.test(path=path):
            assert f"Your role is “view”; this needs the role “{needed}”." in client.get(path).text

"""Pages with forms are well formed: labels, captions, unique ids, nothing inline, working links."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, update

from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.web.templating.headers import CHART_PAGE_POLICY, PAGE_POLICY
from tests.web.page_checks import PICTURE, faults_of, links_of
from tests.web.pages.adding_a_trial.trial_forms import upload
from tests.web.tried_bench import TriedBench

PAGES = (
    "/trials",
    "/trials?kind=empty+room",
    "/trials?state=lost",
    "/trials/add",
    "/trials/1",
    "/trials/3",
    "/trials/3?channel=pm10&scale=log&units=us",
    "/trials/5",
    "/trials/3/marks",
    "/trials/3/marks?unit_on=18",
    "/trials/3/marks?unit_on=500",
    "/trials/3/edit",
    "/units/add",
    "/units/1/edit",
    "/units/1/sound",
    "/units/1/power",
    "/units/1/ozone",
    "/rooms",
    "/rooms/add",
    "/rooms/1/edit",
    "/loggers",
    "/loggers/add",
    "/smoke-sources",
    "/smoke-sources/add",
    "/smoke-sources/1/edit",
    "/bench",
    "/changes",
    "/method",
    "/growing",
    "/about",
    "/no-such-page",
)


@pytest.mark.parametrize("address", PAGES)
def test_every_page_is_well_made(tried_bench: TriedBench, client: TestClient, address: str):
    answer = client.get(address)
    assert answer.status_code in (200, 404, 422)
    assert faults_of(answer.text) == []


def test_the_preview_of_a_log_is_well_made(tried_bench: TriedBench, client: TestClient, make_log: Callable[..., bytes]):
    for content in (make_log(), b"no log at all\n", make_log(channels=("a", "b", "c"))):
        assert faults_of(client.get(upload(client, content)).text) == []


@pytest.mark.parametrize(
    "address",
    ["/trials/add", "/units/add", "/units/1/edit", "/units/1/sound", "/units/1/power", "/rooms/add", "/loggers/add"],
)
def test_a_form_sent_empty_comes_back_well_made(tried_bench: TriedBench, client: TestClient, address: str):
    answer = client.post(address, data={"who": "Ada"})
    assert answer.status_code == 422
    assert faults_of(answer.text) == []
    assert "Nothing was saved" in answer.text


def test_the_links_of_the_pages_lead_somewhere(tried_bench: TriedBench, client: TestClient):
    links = {link for page in PAGES for link in links_of(client.get(page).text)}
    # pictures are drawn in tests/web/browser/test_every_chart_download.py, in every size that is offered
    inner = sorted({link.split("#")[0] for link in links if link.startswith("/") and not PICTURE.match(link)})
    assert len(inner) > 30
    for link in inner:
        assert client.get(link).status_code == 200, link


@pytest.mark.parametrize("address", ["/trials", "/trials/add", "/trials/3", "/bench", "/method", "/no-such-page"])
def test_an_invented_bench_says_so_on_every_page(
    tried_bench: TriedBench, store: Engine, client: TestClient, address: str
):
    with session_scope(store) as session:
        session.execute(update(Bench).values(invented=True, scenario="A made-up desk."))
    page = client.get(address).text
    assert "Demonstration with invented data" in page
    assert "A made-up desk." in page


def test_only_pages_with_drawings_loosen_the_policy(tried_bench: TriedBench, client: TestClient):
    for address, policy in (
        ("/trials/3", CHART_PAGE_POLICY),
        ("/trials/3/marks", CHART_PAGE_POLICY),
        ("/trials", PAGE_POLICY),
        ("/trials/add", PAGE_POLICY),
        ("/units/1/edit", PAGE_POLICY),
    ):
        assert client.get(address).headers["content-security-policy"] == policy

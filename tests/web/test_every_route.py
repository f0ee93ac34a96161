"""Every GET route answers from a filled bench, on either database."""

import pytest
from annotated_types import Le
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from app.settings import Settings
from app.web.api.all_routes import API_ROUTERS
from app.web.api.shapes import LARGEST_ID
from app.web.application import make_app
from app.web.pages.all_pages import DOWNLOAD_ROUTERS, PAGE_ROUTERS
from app.web.security.permissions import LEAST_ROLE
from tests.sample_data.local_access import local_browser

IDS = {
    "unit_id": 1,
    "trial_id": 5,
    "room_id": 1,
    "logger_id": 1,
    "source_id": 1,
    "clip_id": 1,
    "check_id": 1,
    "plan_id": 1,
    "key": "0" * 32,
}
# values for path parameters, and required queries
ASKED = {
    "/api/comparison": ["/api/comparison?setting_id=1&setting_id=3"],
    "/compare": ["/compare?unit_id=1&unit_id=2"],
    "/search": ["/search?q=filter"],
    "/api/problems/{kind}": ["/api/problems/not-found"],
    "/figures/{name}.json": ["/figures/decay-overlay.json"],
    "/charts/{name}.{chart_format}": ["/charts/ranking.csv", "/charts/cost-bars.svg"],
    "/tables/{name}.{table_format}": ["/tables/ranking.csv", "/tables/ranking.xlsx"],
    "/units/{unit_id}/draft.{draft_format}": ["/units/1/draft.md"],
    "/units/{unit_id}/article-{export}": ["/units/1/article-embed.html", "/units/1/article-markdown.zip?chart="],
    "/bulk/{kind}.csv": ["/bulk/prices.csv"],
    "/listen/{clip_id}.wav": ["/listen/1.wav?pa=1"],
}
# what needs an upload that waits, a live run, or accounts: tests of its own look at these
ELSEWHERE = {
    "/api/editions/{number}",
    "/api/runs/{run_id}",
    "/api/runs/{run_id}/stream",
    "/live/{run_id}",
    "/trials/add/{token}",
    "/trials/add/{token}/figure.json",
    "/trials/add/{token}/sound",
    "/account",
    "/enter/{token}",
    "/accounts/{account_id}",
    "/attachments/{attachment_id}/file",
    "/attachments/{attachment_id}/{size}.jpg",
    "/api/attachments/{attachment_id}/file",
}
READ = [
    route.removeprefix("GET ")
    for route in LEAST_ROLE
    if route.startswith("GET ") and route.removeprefix("GET ") not in ELSEWHERE
]


def test_every_route_that_is_read_answers(demo_settings: Settings, subtests: pytest.Subtests):
    with local_browser(make_app(demo_settings), demo_settings) as client:
        for route in READ:
            for address in ASKED.get(route) or [route.format_map(IDS)]:
                with subtests.test(address=address):
                    assert client.get(address).status_code == 200


def test_no_route_takes_a_number_that_no_store_holds():
    """SQLite refuses a number of more than eight bytes with an error of Python, PostgreSQL one of more than four."""
    for router in (*API_ROUTERS, *DOWNLOAD_ROUTERS, *PAGE_ROUTERS):
        for route in router.routes:
            assert isinstance(route, APIRoute)
            for part in route.dependant.path_params:
                if part.field_info.annotation is int:
                    limits = [found.le for found in part.field_info.metadata if isinstance(found, Le)]
                    assert limits == [LARGEST_ID], f"{route.path}: take `Id` for {part.name}"


@pytest.mark.parametrize("path", ["/units/99999999999999999999", "/rooms/99999999999999999999/edit"])
def test_such_a_number_is_refused_as_a_value(client: TestClient, path: str):
    assert client.get(path).status_code == 422

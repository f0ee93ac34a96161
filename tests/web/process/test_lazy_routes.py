"""Routes load on demand: before a request that needs them, or after the first response."""

import threading
from concurrent.futures import ThreadPoolExecutor

from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.web.api.all_routes import API_ROUTERS
from app.web.pages.all_pages import DOWNLOAD_ROUTERS, PAGE_ROUTERS
from app.web.pages.ranking import page as ranking

ALL = sum(len(router.routes) for router in (*API_ROUTERS, *DOWNLOAD_ROUTERS, *PAGE_ROUTERS))
ADDED_BY_HAND = 2  # the schema of the API, and the folder of static files


def wait_for_the_background() -> None:
    for thread in threading.enumerate():
        if thread.name == "load all routes":
            thread.join(30)


def test_a_new_application_has_the_first_page_and_the_static_files(app: FastAPI):
    assert not app.state.routes.all_loaded
    assert len(app.routes) == len(ranking.router.routes) + ADDED_BY_HAND


def test_the_rest_is_loaded_in_the_background_once_the_first_page_is_answered(app: FastAPI, client: TestClient):
    assert client.get("/").status_code == 200
    wait_for_the_background()
    assert app.state.routes.all_loaded
    assert len(app.routes) == ALL + ADDED_BY_HAND


def test_a_first_request_for_any_other_page_finds_it(app: FastAPI, client: TestClient):
    assert client.get("/units").status_code == 200
    assert len(app.routes) == ALL + ADDED_BY_HAND


def test_a_first_request_for_the_schema_gets_all_of_it(client: TestClient):
    paths = client.get("/api/openapi.json").json()["paths"]
    assert {"/api/health", "/api/ranking", "/api/trials/{trial_id}", "/charts/{name}.{chart_format}"} <= paths.keys()


def test_a_first_request_for_a_page_that_does_not_exist_says_so(client: TestClient):
    assert client.get("/no-such-page").status_code == 404


def test_many_first_requests_at_once_load_every_route_once(app: FastAPI, client: TestClient):
    with ThreadPoolExecutor(8) as many:
        answers = list(
            many.map(lambda path: client.get(path).status_code, ["/units", "/trials", "/", "/api/units"] * 4)
        )
    wait_for_the_background()
    assert set(answers) == {200}
    assert len(app.routes) == ALL + ADDED_BY_HAND


def test_whoever_walks_through_the_routes_asks_for_all_of_them(app: FastAPI):
    app.state.routes.load_all()
    app.state.routes.load_all()
    assert len(app.routes) == ALL + ADDED_BY_HAND


def test_who_is_turned_away_loads_nothing(app: FastAPI):
    with TestClient(app, base_url="http://elsewhere.example") as stranger:
        assert stranger.get("/units").status_code in (400, 403, 421)
    assert not app.state.routes.all_loaded

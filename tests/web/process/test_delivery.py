"""HEAD, unchanged pages, compression and caching, on every kind of answer."""

import pytest
from fastapi.testclient import TestClient

from app.web.security.permissions import LEAST_ROLE
from tests.web.tried_bench import TriedBench

KINDS = [
    "/",
    "/units/1",
    "/curves",
    "/api/units",
    "/figures/ranking.json",
    "/charts/ranking.svg",
    "/tables/ranking.csv",
]
READ_PAGES = sorted(
    route.removeprefix("GET ") for route in LEAST_ROLE if route.startswith("GET /") and "{" not in route
)


@pytest.mark.parametrize("address", KINDS)
def test_an_answer_that_has_not_changed_is_not_sent_again(tried_bench: TriedBench, client: TestClient, address: str):
    client.get("/units")  # loads the whole program, as it is once the first page was answered
    first = client.get(address)
    assert first.status_code == 200
    assert "no-cache" in first.headers["cache-control"]
    again = client.get(address, headers={"If-None-Match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""
    assert again.headers["etag"] == first.headers["etag"]
    assert "content-security-policy" in again.headers
    other = client.get(address, headers={"If-None-Match": 'W/"another", "one"'})
    assert (other.status_code, other.content) == (200, first.content)


def test_a_page_that_has_changed_is_sent(tried_bench: TriedBench, client: TestClient):
    client.get("/units")
    tag = client.get("/").headers["etag"]
    renamed = client.patch("/api/units/1", json={"model": "Renamed"})
    assert renamed.status_code == 200
    after = client.get("/", headers={"If-None-Match": tag})
    assert after.status_code == 200
    assert "Renamed" in after.text


@pytest.mark.parametrize("address", READ_PAGES)
def test_head_answers_like_get_without_a_body(tried_bench: TriedBench, client: TestClient, address: str):
    got, head = client.get(address), client.head(address)
    assert head.status_code == got.status_code
    assert head.content == b""
    assert head.headers.get("content-type") == got.headers.get("content-type")


def test_head_of_a_missing_page_says_so(client: TestClient):
    assert client.head("/no-such-page").status_code == 404


@pytest.mark.parametrize("address", ["/", "/api/units", "/charts/ranking.svg", "/static/base.css"])
def test_text_is_compressed_where_the_client_reads_it(tried_bench: TriedBench, client: TestClient, address: str):
    client.get("/units")
    packed = client.get(address, headers={"Accept-Encoding": "gzip"})
    plain = client.get(address, headers={"Accept-Encoding": "identity"})
    assert packed.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert packed.content == plain.content  # unpacked by the client
    assert int(packed.headers["content-length"]) < 0.7 * len(plain.content)
    assert "accept-encoding" in packed.headers["vary"].lower()


@pytest.mark.parametrize("address", ["/charts/ranking.png", "/api/trials/1/log", "/tables/ranking.xlsx"])
def test_what_is_packed_already_or_sent_byte_for_byte_is_left_alone(
    tried_bench: TriedBench, client: TestClient, address: str
):
    answer = client.get(address, headers={"Accept-Encoding": "gzip"})
    assert answer.status_code == 200
    assert "content-encoding" not in answer.headers


def test_a_script_is_cached_for_good_under_the_hash_of_its_content(tried_bench: TriedBench, client: TestClient):
    page = client.get("/curves").text
    address = page.split('data-library="/static/plotly/')[1].split('"')[0]
    answer = client.get(f"/static/plotly/{address}")
    assert "immutable" in answer.headers["cache-control"]
    assert "v=" in address
    assert "immutable" not in client.get("/static/base.css").headers["cache-control"]

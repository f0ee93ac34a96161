"""The advice page on database servers shows where the bench is and how large it is."""

from fastapi.testclient import TestClient

from app.settings import Settings
from tests.web.tried_bench import TriedBench


def test_the_page_says_where_the_bench_is_and_what_it_holds(
    tried_bench: TriedBench, client: TestClient, settings: Settings
):
    page = client.get("/growing").text
    where = "is in a PostgreSQL database of" if settings.database_url else "is a file of"
    assert f"This bench {where}" in page
    assert "with 3 units, 6 trials and " in page
    assert "hazefall copy-store FOLDER" in page

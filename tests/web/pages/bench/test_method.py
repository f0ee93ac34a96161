"""The method page for readers."""

from html import unescape

from fastapi.testclient import TestClient

from app.compute.method import METHOD_DESCRIPTION, METHOD_NAME, METHOD_VERSION
from app.compute.study_figures import DECAY_COVERAGE, RANK_COVERAGE


def test_every_step_of_the_analysis_is_told_with_its_version(client: TestClient):
    page = unescape(client.get("/method").text)
    assert METHOD_NAME in page
    assert f"Analysis step by step, version {METHOD_VERSION}" in page
    for step in METHOD_DESCRIPTION:
        assert f"<li>{step}</li>" in page


def test_what_humidity_does_to_an_interval_is_explained(client: TestClient):
    page = client.get("/method").text
    assert "Its interval is widened by the possible effect of the humidity change" in page


def test_the_page_states_what_the_studies_found(client: TestClient):
    page = unescape(client.get("/method").text)
    assert all(f"<li>{sentence}</li>" in page for sentence in DECAY_COVERAGE)
    assert RANK_COVERAGE in page

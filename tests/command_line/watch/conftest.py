"""A server on a fresh bench, as for the tests of pages."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from app.settings import Settings
from app.web.application import make_app
from tests.sample_data.local_access import local_browser


@pytest.fixture
def client(settings: Settings) -> Iterator[TestClient]:
    with local_browser(make_app(settings), settings, follow_redirects=False) as opened:
        yield opened

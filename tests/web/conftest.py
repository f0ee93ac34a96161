"""A server on a fresh bench for each test; `settings` and `store` of the folder above hold the same bench."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.settings import Settings
from app.web.application import make_app


@pytest.fixture
def app(settings: Settings) -> FastAPI:
    return make_app(settings)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    """A browser on this machine that does not follow redirects, so that a test sees the 303 itself."""
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as opened:
        yield opened

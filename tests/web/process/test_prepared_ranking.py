"""A server writes the ranking once before it takes requests, so that its first reader does not wait for it."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import Engine, event

from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from tests.sample_data.local_access import local_browser
from tests.sample_data.ranked_bench import fill


@pytest.fixture(autouse=True)
def bench(store: Engine) -> None:
    with session_scope(store) as session:
        fill(session)


@contextmanager
def tables_read() -> Iterator[list[str]]:
    """The statements of all engines meanwhile."""
    statements: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_more: object) -> None:
        statements.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield statements
    finally:
        event.remove(Engine, "before_cursor_execute", note)


def first_page(settings: Settings, *, prepares_ranking: bool) -> tuple[str, list[str]]:
    """The first page of a started application, and the statements for it."""
    with (
        local_browser(make_app(settings, prepares_ranking=prepares_ranking), settings) as browser,
        tables_read() as statements,
    ):
        page = browser.get("/")
    assert page.status_code == 200
    return page.text, statements


def test_the_first_reader_gets_the_same_page_without_a_result_being_read(settings: Settings):
    expected, statements = first_page(settings, prepares_ranking=False)
    assert any("setting_summaries" in statement for statement in statements)
    page, statements = first_page(settings, prepares_ranking=True)
    assert page == expected
    assert statements
    assert not any("setting_summaries" in statement for statement in statements)


def test_a_change_before_the_first_request_is_on_the_page(settings: Settings, store: Engine):
    with local_browser(make_app(settings, prepares_ranking=True), settings) as browser:
        with store.begin() as connection:
            connection.exec_driver_sql("UPDATE units_under_test SET model = 'Renamed just now' WHERE id = 1")
        assert "Renamed just now" in browser.get("/").text


def test_a_ranking_that_cannot_be_prepared_is_logged_and_all_else_is_served(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    def fail(_engine: Engine) -> None:
        raise ValueError("no such page today")

    monkeypatch.setattr("app.web.application.prepare_ranking", fail)
    with (
        caplog.at_level(logging.ERROR),
        local_browser(make_app(settings, prepares_ranking=True), settings) as browser,
    ):
        assert browser.get("/units").status_code == 200
    assert "could not be prepared" in caplog.text
    assert "no such page today" in caplog.text

"""Every error has a usable response: a problem document for scripts, a page for people."""

import sqlite3
from dataclasses import replace

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from pydantic import BaseModel, Field
from sqlalchemy import Engine, text
from sqlalchemy.exc import OperationalError

from app.errors import AlreadyStored, InvalidValue, NotFound, UnreadableLog
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from app.web.dependencies import SessionDep
from tests.conftest import SmallBench
from tests.sample_data.accounts import make_account
from tests.sample_data.local_access import local_browser


def test_an_unknown_address_below_api_is_a_problem_document(client: TestClient):
    answer = client.get("/api/no-such-thing")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json() == {
        "type": "/api/problems/not-found",
        "title": "Not Found",
        "status": 404,
        "detail": "Page not found. Choose a page from the navigation.",
        "instance": "/api/no-such-thing",
    }


def test_an_unknown_page_is_a_page(client: TestClient):
    answer = client.get("/no-such-page")
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "Page not found" in answer.text


def test_a_wrong_method_says_so_and_names_the_right_ones(client: TestClient):
    answer = client.delete("/api/health")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET"
    assert "does not accept that request method" in answer.json()["detail"]


def test_our_own_error_keeps_its_status_words_and_field(app: FastAPI, client: TestClient):
    @app.get("/api/try")
    def fail() -> None:
        raise InvalidValue("The volume is -3 m³; it must be above zero.", field="room_volume_m3")

    document = client.get("/api/try").json()
    assert document["status"] == 422
    assert document["type"] == "/api/problems/invalid-value"
    assert document["errors"] == [{"field": "room_volume_m3", "message": "The volume is -3 m³; it must be above zero."}]


def test_an_unreadable_log_names_file_line_and_text(app: FastAPI, client: TestClient):
    @app.get("/api/try")
    def fail() -> None:
        raise UnreadableLog("Line 7 is no reading.", file_name="a.csv", line=7, text="<b>ERR</b>")

    @app.get("/try")
    def fail_on_a_page() -> None:
        raise UnreadableLog("Line 7 is no reading.", file_name="a.csv", line=7, text="<b>ERR</b>")

    document = client.get("/api/try").json()
    assert (document["file_name"], document["line"], document["text"]) == ("a.csv", 7, "<b>ERR</b>")
    page = client.get("/try")
    assert page.status_code == 422
    assert "&lt;b&gt;ERR&lt;/b&gt;" in page.text
    assert "<b>ERR</b>" not in page.text


def test_statuses_of_the_error_family(app: FastAPI, client: TestClient):
    @app.get("/api/missing")
    def missing() -> None:
        raise NotFound("trial", 12)

    @app.get("/api/stored")
    def stored() -> None:
        raise AlreadyStored("This file is stored as trial 3.")

    assert client.get("/api/missing").json()["detail"] == (
        "There is no trial 12 in this bench. Choose one from the list."
    )
    assert client.get("/api/stored").status_code == 409


class Sample(BaseModel, extra="forbid"):
    volume_m3: float = Field(gt=0)
    name: str = Field(min_length=1, max_length=5)


def test_a_wrong_body_names_each_field_what_was_found_and_what_is_needed(app: FastAPI, client: TestClient):
    @app.post("/api/try")
    def take(sample: Sample) -> None:
        raise AssertionError("the body must be refused before")

    answer = client.post("/api/try", json={"volume_m3": -3, "nmae": "x"})
    assert answer.status_code == 422
    said = {mistake["field"]: mistake["message"] for mistake in answer.json()["errors"]}
    assert said == {
        "volume_m3": "Found '-3'. Needed: a number above 0.0.",
        "name": "This field is required.",
        "nmae": "Unknown field. Check the spelling.",
    }
    words = client.post("/api/try", json={"volume_m3": "wide", "name": "too long"}).json()["errors"]
    assert words[0]["message"] == "Found 'wide'. Needed: a number such as 12.5."
    assert words[1]["message"] == "Found 'too long'. Needed: at most 5 characters."
    kinds = client.post("/api/try", json={"volume_m3": 3, "name": 7}).json()["errors"]
    assert kinds[0]["message"] == "Found '7'. Needed: a text."
    whole = client.post("/api/try", json=[]).json()["errors"]
    assert whole == [{"field": "body", "message": "Needed: an object with fields of its own."}]


def test_a_body_above_the_limit_answers_413(client: TestClient, settings):
    headers = {"Content-Type": "multipart/form-data; boundary=edge"}
    answer = client.post("/api/try", content=b"x" * (settings.max_upload_bytes + 1), headers=headers)
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"
    assert "HAZEFALL_MAX_UPLOAD_BYTES" in answer.json()["detail"]


def test_a_chunked_body_above_the_limit_answers_413(settings):
    limited = replace(settings, max_upload_bytes=3_000_000)
    sent = 0

    def chunks():
        nonlocal sent
        yield b'--edge\r\nContent-Disposition: form-data; name="log"; filename="log.csv"\r\n\r\n'
        for _ in range(5):
            sent += 1_000_000
            yield b"x" * 1_000_000
        yield b"\r\n--edge--\r\n"

    headers = {"Content-Type": "multipart/form-data; boundary=edge"}
    with local_browser(make_app(limited), limited) as client:
        for path in ("/trials/add", "/api/trials", "/bulk"):
            sent = 0
            assert client.post(path, content=chunks(), headers=headers).status_code == 413, path
            assert sent > limited.max_upload_bytes


@pytest.mark.parametrize("kind", ["application/json", "application/x-www-form-urlencoded", "text/csv", ""])
@pytest.mark.parametrize("chunked", [True, False])
def test_a_body_that_is_read_as_a_whole_may_be_two_megabytes(client: TestClient, kind: str, chunked: bool):
    """JSON of many small lists takes 25 times its length in memory."""
    body = b"[" + b"[]," * 700_000 + b"[]]"
    pieces = (body[place : place + 100_000] for place in range(0, len(body), 100_000))
    answer = client.post("/api/units", content=pieces if chunked else body, headers={"Content-Type": kind})
    assert answer.status_code == 413
    assert answer.json()["type"] == "/api/problems/content-too-large"
    assert "too long for a form or JSON document." in answer.json()["detail"]
    assert client.post("/api/units", content=body[: 2_000_000 - 1], headers={"Content-Type": kind}).status_code != 413


def test_a_sign_in_takes_no_files_and_no_long_texts(client: TestClient):
    """Anybody may send one, and the texts of a form are in memory."""
    head, long = b'--x\r\nContent-Disposition: form-data; name="a"', b"a" * 2_000_001
    for name in (b"", b'; filename="a.csv"'):
        body = head + name + b"\r\n\r\n" + long + b"\r\n--x--\r\n"
        answer = client.post("/sign-in", content=body, headers={"Content-Type": "multipart/form-data; boundary=x"})
        assert answer.status_code == 413
        assert "too long for a form" in answer.text


def test_a_mistake_of_the_program_tells_nothing_of_its_inside(app: FastAPI, settings: Settings):
    @app.get("/api/try")
    def fail() -> None:
        raise ZeroDivisionError("secret inside")

    with local_browser(app, settings, raise_server_exceptions=False) as client:
        answer = client.get("/api/try")
        page = client.get("/api/try".removeprefix("/api"))
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert answer.json()["title"] == "Something went wrong"
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert page.status_code == 404


# References are looked at when the transaction ends, and not with each statement.
_REFERENCES_LATE = {
    "sqlite": "PRAGMA defer_foreign_keys = ON",
    "postgresql": "ALTER TABLE consumable_prices ALTER CONSTRAINT fk_consumable_prices_consumable_id_consumables "
    "DEFERRABLE INITIALLY DEFERRED",
}
_ONLY_READ = {"sqlite": "PRAGMA query_only = ON", "postgresql": "SET TRANSACTION READ ONLY"}


def test_a_commit_that_fails_is_not_answered_with_success(app: FastAPI, settings: Settings):
    """The session closes before the answer is sent, so a refused commit cannot be acknowledged."""

    @app.post("/api/try")
    def store(session: SessionDep) -> dict[str, bool]:
        session.execute(text(_REFERENCES_LATE[session.get_bind().dialect.name]))
        session.execute(
            text(
                "INSERT INTO consumable_prices (consumable_id, amount, currency, seen_on, source) "
                "VALUES (999, 1.0, 'USD', '2026-01-01', '')"
            )
        )
        return {"stored": True}

    with local_browser(app, settings, raise_server_exceptions=False) as client:
        assert client.post("/api/try").status_code == 500


def test_a_read_only_store_is_told_as_such(app: FastAPI, client: TestClient):
    @app.post("/api/try")
    def store(session: SessionDep) -> None:
        session.execute(text(_ONLY_READ[session.get_bind().dialect.name]))
        session.execute(text("DELETE FROM units_under_test"))

    answer = client.post("/api/try")
    assert answer.status_code == 503
    assert "cannot be written" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("said", "status", "words"),
    [
        ("database is locked", 503, "The store is locked by another program."),
        ("no such table: moon", 500, "Internal error."),
    ],
)
def test_a_store_that_fails_outside_of_the_session_of_a_request_is_told_as_such(
    app: FastAPI, settings: Settings, said: str, status: int, words: str
):
    """As while signing in, which has sessions of its own."""

    @app.post("/api/try")
    def fails() -> None:
        raise OperationalError("", {}, sqlite3.OperationalError(said))

    with local_browser(app, settings, raise_server_exceptions=False) as client:
        answer = client.post("/api/try")
    assert answer.status_code == status
    assert words in answer.text


def test_a_body_that_cannot_be_read_says_so(client: TestClient):
    answer = client.post("/api/units", content=b'{"maker": "\xff"}', headers={"content-type": "application/json"})
    assert answer.status_code == 400
    assert answer.headers["content-type"] == "application/problem+json"
    assert "The request body cannot be read" in answer.json()["detail"]


def test_what_scripts_take_away_answers_them_with_documents(client: TestClient):
    for path in ("/charts/none.svg", "/figures/none.json", "/trials/9/figure.json"):
        answer = client.get(path)
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"


def test_names_beyond_ascii_are_compared_with_capitals_aside(client: TestClient):
    assert client.post("/api/units", json={"maker": "Ünit", "model": "Éco"}).status_code == 201
    again = client.post("/api/units", json={"maker": "ünit", "model": "éCO"})
    assert again.status_code == 409
    assert "already exists as unit 1" in again.json()["detail"]


def test_the_second_of_two_requests_at_once_is_told_of_the_first(
    app: FastAPI, client: TestClient, small_bench: SmallBench
):
    """Where the check before storing cannot see the other request, the store's own rule refuses the second."""

    @app.post("/api/try")
    def store(session: SessionDep) -> None:
        session.execute(
            text(
                "INSERT INTO rooms (name, room_volume_m3, room_volume_uncertainty_m3, furniture, notes) "
                "VALUES ('Room A', 30, 1, '', '')"
            )
        )

    answer = client.post("/api/try")
    assert answer.status_code == 409
    assert "perhaps just saved by another request" in answer.json()["detail"]


@pytest.mark.parametrize(
    "address",
    [
        "/search?q=%00",
        "/units/2147483648",
        "/changes?cursor=99999999999",
        "/changes?subject=%00",
        "/api/ranking?channel=%00",
        "/api/units?cursor=99999999999999",
        "/api/trials?cursor=99999999999999",
    ],
)
def test_a_value_that_no_store_holds_is_no_mistake_of_the_program(client: TestClient, address: str):
    """PostgreSQL refuses numbers of more than four bytes and NUL in a text, where SQLite finds nothing."""
    assert client.get(address).status_code in (200, 404, 422)


def test_a_value_that_the_server_refuses_is_told(client: TestClient, settings: Settings):
    page = client.get("/search?q=%00")
    assert page.status_code == (422 if settings.database_url else 200)
    told = "The request contains a value that cannot be stored: an id out of range, or a NUL character."
    assert (told in page.text) == bool(settings.database_url)


def test_a_name_with_nul_signs_nobody_in(client: TestClient, store: Engine):
    with session_scope(store) as session:
        make_account(session, "Ann")
    assert client.post("/sign-in", data={"name": "A\0", "password": "x"}).status_code in (401, 422)

"""Form data for the way from a log to a trial."""

from fastapi.testclient import TestClient
from httpx import Response

from tests.conftest import SmallBench


def upload(client: TestClient, content: bytes, file_name: str = "run.csv", **fields: str) -> str:
    """Sends a log through the first form and returns the address of its preview."""
    answer = client.post("/trials/add", files={"log": (file_name, content, "text/csv")}, data=fields)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def conditions(bench: SmallBench, **changed: str) -> dict[str, str]:
    """The filled second form of a run with the small bench's unit at its high setting."""
    return {
        "kind": "unit running",
        "unit_under_test_id": str(bench.unit_id),
        "setting": "high",
        "room_id": str(bench.room_id),
        "logger_id": str(bench.logger_id),
        "smoke_source_id": str(bench.smoke_source_id),
        "tested_by": "Ada",
    } | changed


def empty_room(bench: SmallBench, **changed: str) -> dict[str, str]:
    """The filled second form of an empty-room run."""
    return conditions(bench, kind="empty room", unit_under_test_id="", setting="") | changed


def store(client: TestClient, content: bytes, fields: dict[str, str], file_name: str = "run.csv") -> Response:
    """Both forms, one after the other."""
    return client.post(upload(client, content, file_name).split("?")[0], data=fields)


def message_by(page: str, field: str) -> str:
    """The message beside a field of a page."""
    return page.split(f'id="{field}-error">')[1].split("</p>")[0].replace("&#39;", "'")

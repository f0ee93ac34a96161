"""Requests of the watch command to a bench: JSON and one multipart form, with the standard library alone."""

import hashlib
import json
import secrets
import urllib.error
import urllib.request
from dataclasses import dataclass
from typing import Any

from app.errors import HazefallError

_TIMEOUT_S = 30.0
_TRY_AGAIN = (408, 429, 500, 502, 503, 504)


class Unreachable(HazefallError):
    """The bench did not answer; the request can be repeated."""

    status = 503
    title = "The bench does not answer"


class Refused(HazefallError):
    """The bench refused a request for good; `status` is its answer."""

    title = "The bench refused the request"

    def __init__(self, status: int, message: str) -> None:
        super().__init__(message)
        self.status = status


@dataclass(frozen=True, slots=True)
class BenchClient:
    """A bench at a URL; `token` is an API token, or the secret of a bench without accounts."""

    url: str
    token: str

    def post(self, path: str, body: dict[str, Any], key: str = "") -> dict[str, Any]:
        """Sends JSON. Raises Unreachable or Refused."""
        headers = {"Content-Type": "application/json"} | ({"Idempotency-Key": key} if key else {})
        return self._ask(path, json.dumps(body).encode(), headers)

    def post_form(
        self, path: str, fields: list[tuple[str, str]], file: tuple[str, bytes] | None = None
    ) -> dict[str, Any]:
        """Sends a form, with a file in the field `log` where there is one."""
        edge = secrets.token_hex(16)
        parts = [
            f'--{edge}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
            for name, value in fields
        ]
        if file is not None:
            name = file[0].replace("\\", "_").replace('"', "_").replace("\r", "_").replace("\n", "_")
            head = f'--{edge}\r\nContent-Disposition: form-data; name="log"; filename="{name}"\r\n'
            parts.append(f"{head}Content-Type: application/octet-stream\r\n\r\n".encode() + file[1] + b"\r\n")
        parts.append(f"--{edge}--\r\n".encode())
        return self._ask(path, b"".join(parts), {"Content-Type": f"multipart/form-data; boundary={edge}"})

    def get(self, path: str) -> dict[str, Any]:
        return self._ask(path, None, {})

    def _ask(self, path: str, body: bytes | None, headers: dict[str, str]) -> dict[str, Any]:
        if self.token:
            headers = headers | {"Authorization": f"Bearer {self.token}"}
        request = urllib.request.Request(f"{self.url}{path}", data=body, headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=_TIMEOUT_S) as answer:
                found: dict[str, Any] = json.loads(answer.read())
                return found
        except urllib.error.HTTPError as error:
            detail = _detail(error)
            if error.code in _TRY_AGAIN:
                raise Unreachable(detail) from error
            raise Refused(error.code, detail) from error
        except (OSError, ValueError) as error:  # no connection, a timeout, or an answer that was cut off
            raise Unreachable(f"{self.url} does not answer ({getattr(error, 'reason', error)}).") from error


def _detail(error: urllib.error.HTTPError) -> str:
    try:
        return str(json.loads(error.read())["detail"])
    except (OSError, ValueError, KeyError, TypeError):
        return f"The bench answered {error.code} {error.reason}."


def send_readings(
    client: BenchClient, run_id: int | None, readings: list[dict[str, Any]]
) -> tuple[dict[str, Any], str]:
    """Sends readings to a live run, safe to repeat: the receipt, and what is to be said of it. Raises Unreachable or
    Refused.
    """
    lot = {"readings": readings}
    key = hashlib.sha256(repr(lot).encode()).hexdigest()
    receipt = client.post(f"/api/runs/{run_id}/readings", lot, key)
    differ = receipt["conflicts"]
    return receipt, f"{differ} values differ from those sent before for the same time; not used." if differ else ""

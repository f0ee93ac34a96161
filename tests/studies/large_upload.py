"""A file far larger than any log is sent to a real server: its response, and its memory use.

python -m tests.studies.large_upload 500      # megabytes
"""

import http.client
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from tests.faults import real_process

MB = 1024 * 1024
_EDGE = "large-upload-edge"
_ROW = b"2026-01-05 10:00:00,12.5\n"


@dataclass(frozen=True, slots=True)
class Answered:
    """Status, the words of the answer, and by how much the server's largest memory grew [MB]."""

    status: int
    words: str
    grown_mb: float


@contextmanager
def served(limit_bytes: int) -> Iterator[tuple[int, int, dict[str, str]]]:
    """Port, process and a script's header of a server of its own with a room, which takes uploads up to the limit."""
    with tempfile.TemporaryDirectory() as folder:
        environment = {"HAZEFALL_MAX_UPLOAD_BYTES": str(limit_bytes), "TMPDIR": folder}
        with real_process.served(Path(folder) / "bench", environment) as server:
            yield int(server.url.rpartition(":")[2]), server.process.pid, server.headers


def send(port: int, pid: int, let_in: dict[str, str], path: str, size_bytes: int, *, chunked: bool = False) -> Answered:
    """A log of that size as a form, sent piece by piece."""
    before = _most_memory_mb(pid)
    head, tail = _form_ends()
    headers = let_in | {"Content-Type": f"multipart/form-data; boundary={_EDGE}"}
    if not chunked:
        headers["Content-Length"] = str(len(head) + size_bytes + len(tail))
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=300)
    with suppress(BrokenPipeError, ConnectionResetError):  # answered before all was sent
        connection.request("POST", path, _pieces(head, size_bytes, tail), headers, encode_chunked=chunked)
    answer = connection.getresponse()
    words = answer.read().decode()
    if answer.status == 303:  # the page went on to the preview, which reads the file that waits
        connection.request("GET", answer.headers["Location"], headers=let_in)
        answer = connection.getresponse()
        words = answer.read().decode()
    connection.close()
    return Answered(answer.status, words, _most_memory_mb(pid) - before)


def _form_ends() -> tuple[bytes, bytes]:
    fields = "".join(
        f'--{_EDGE}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
        for name, value in (("kind", "empty room"), ("room_id", "1"))
    )
    file = f'--{_EDGE}\r\nContent-Disposition: form-data; name="log"; filename="huge.csv"\r\n\r\ntime,PM2.5\n'
    return (fields + file).encode(), f"\r\n--{_EDGE}--\r\n".encode()


def _pieces(head: bytes, size_bytes: int, tail: bytes) -> Iterator[bytes]:
    yield head
    piece = _ROW * (MB // len(_ROW))
    sent = 0
    while sent < size_bytes:
        part = piece[: min(len(piece), size_bytes - sent)]
        sent += len(part)
        yield part
    yield tail


def _most_memory_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")) / 1024


def run(size_mb: int) -> None:
    size = size_mb * MB
    for what, limit, path, chunked in (
        ("to the page, limit above it", size + 20 * MB, "/trials/add", False),
        ("to the API, limit above it", size + 20 * MB, "/api/trials", False),
        ("to the page, the usual limit", 200_000_000, "/trials/add", False),
        ("to the API, the usual limit, length not told", 200_000_000, "/api/trials", True),
    ):
        with served(limit) as (port, pid, let_in):
            begun = time.perf_counter()
            answered = send(port, pid, let_in, path, size, chunked=chunked)
            took = time.perf_counter() - begun
        print(f"{size_mb} MB {what}: {answered.status}, memory grew by {answered.grown_mb:.0f} MB, {took:.1f} s")


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 500)

"""Resident memory of a server of its own, as `hazefall serve` starts it, after pages and an import."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import httpx

from tests.bench.import_bench import three_hour_log

_PAGES = ("/", "/?limit=1000", "/?setting=every&limit=1000", "/units", "/trials", "/curves", "/costs", "/api/ranking")


@dataclass(frozen=True, slots=True)
class ServedMemory:
    """Resident memory after the first page, after all requests, and at its highest [MB]."""

    first_page_mb: float
    afterwards_mb: float
    highest_mb: float


def served_memory(folder: Path) -> ServedMemory:
    """Serves the bench in a folder, asks for its pages, and sends it a log of three hours."""
    command = [sys.executable, "-c", "import sys; from app.command_line.main import run; sys.exit(run())", "serve"]
    server = subprocess.Popen([*command, "--data", str(folder), "--port", "0"], stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    try:
        address = _told_address(server.stdout)
        with httpx.Client(base_url="/".join(address.split("/")[:3]), timeout=120) as client:
            client.get(address)  # the link; it leads to the first page
            client.get("/").raise_for_status()
            first, _ = _memory_mb(server.pid)
            for page in _PAGES:
                client.get(page).raise_for_status()
            log = {"log": ("run.csv", three_hour_log(seed=1), "text/csv")}
            client.post("/api/trials", files=log, data={"kind": "empty room", "room_id": 1}).raise_for_status()
            client.get("/").raise_for_status()
        return ServedMemory(first, *_memory_mb(server.pid))
    finally:
        server.terminate()
        server.wait(30)
        server.stdout.close()


def _told_address(lines) -> str:
    for line in lines:
        if line.startswith("Open "):
            return line.split()[1]
    raise RuntimeError("The server ended without telling its address.")


def _memory_mb(process: int) -> tuple[float, float]:
    """Resident memory now and at its highest."""
    status = dict(line.split(":", 1) for line in Path(f"/proc/{process}/status").read_text().splitlines())
    now, highest = (int(status[name].split()[0]) / 1000 for name in ("VmRSS", "VmHWM"))
    return now, highest

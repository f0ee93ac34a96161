"""A server of its own on a bench, as `hazefall serve` starts it, with its processor time and its memory."""

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx


@dataclass(frozen=True, slots=True)
class Taken:
    """What one request took: time on the clock and processor time of the server [ms], and the answer."""

    clock_ms: float
    processor_ms: float
    answer: httpx.Response


@dataclass(frozen=True, slots=True)
class ServedBench:
    process: int
    client: httpx.Client

    def get(self, address: str) -> Taken:
        """One GET, timed; raises httpx.HTTPStatusError for an answer that is an error."""
        worked, began = self._worked_ns(), time.perf_counter()
        answer = self.client.get(address)
        clock_ms = 1000 * (time.perf_counter() - began)
        processor_ms = (self._worked_ns() - worked) / 1e6
        answer.raise_for_status()
        return Taken(clock_ms, processor_ms, answer)

    def memory_mb(self) -> tuple[float, float]:
        """Resident memory now and at its highest [MB]."""
        lines = Path(f"/proc/{self.process}/status").read_text().splitlines()
        status = dict(line.split(":", 1) for line in lines)
        now, highest = (int(status[name].split()[0]) / 1000 for name in ("VmRSS", "VmHWM"))
        return now, highest

    def _worked_ns(self) -> int:
        """Nanoseconds on a processor of all threads; the counters of whole processes move in steps of 10 ms."""
        total = 0
        for task in Path(f"/proc/{self.process}/task").iterdir():
            try:
                total += int((task / "schedstat").read_text().split()[0])
            except FileNotFoundError:
                continue  # a thread that ended between the listing and the reading
        return total


@contextmanager
def served(folder: Path) -> Iterator[ServedBench]:
    """Serves the bench in a folder on a free port until the block ends."""
    command = [sys.executable, "-c", "import sys; from app.command_line.main import run; sys.exit(run())", "serve"]
    server = subprocess.Popen([*command, "--data", str(folder), "--port", "0"], stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    try:
        link = next((line.split()[1] for line in server.stdout if line.startswith("Open ")), None)
        if link is None:
            raise RuntimeError("The server ended without telling its address.")
        with httpx.Client(base_url="/".join(link.split("/")[:3]), timeout=120, follow_redirects=True) as client:
            client.get(link).raise_for_status()
            yield ServedBench(server.pid, client)
    finally:
        server.terminate()
        server.wait(30)
        server.stdout.close()

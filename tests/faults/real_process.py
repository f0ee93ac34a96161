"""The `hazefall` command as a real process on loopback, which a test can kill at any moment.

Tests take one that forks from a process in which the program is loaded; studies start the true command.
"""

import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO

import httpx

from tests.faults.loaded_program import ForkedProgram
from tests.sample_data.local_access import local_script

ROOT = Path(__file__).resolve().parents[2]
_COMMAND = [sys.executable, "-c", "import sys; from app.command_line.main import run; sys.exit(run())"]
START_WITHIN_S = 60.0

Process = ForkedProgram | subprocess.Popen[str]


class Served:
    """A server of its own on the bench of a folder. It is started by nothing but `hazefall serve`."""

    def __init__(
        self,
        folder: Path,
        *,
        wait: bool = True,
        port: str = "0",
        environment: dict[str, str] | None = None,
        options: Sequence[str] = (),
    ) -> None:
        self.folder = folder
        self._said = folder.parent / f"{folder.name}.said"
        self._begun = time.monotonic()
        self.process = _started(["serve", "--data", str(folder), "--port", port, *options], environment, self._said)
        self.url = ""
        self.started_in_s = 0.0
        if wait:
            self.wait_until_it_answers()

    def wait_until_it_answers(self) -> "Served":
        """Waits for the address and for a healthy response; an AssertionError contains the output instead."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.startswith("Open "):
                self.url = "/".join(line.split()[1].split("/")[:3])
                break
        assert self.url, f"The server ended with status {self.process.wait(10)} and said: {self.said()}"
        assert httpx.get(f"{self.url}/api/health", timeout=START_WITHIN_S).json()["status"] == "ok"
        self.started_in_s = time.monotonic() - self._begun
        return self

    @property
    def headers(self) -> dict[str, str]:
        """What a script sends to be let in; of no use once the bench has accounts."""
        return local_script(self.folder)

    def client(self, timeout_s: float) -> httpx.Client:
        """A script that is let in."""
        return httpx.Client(base_url=self.url, headers=self.headers, timeout=timeout_s)

    def kill(self) -> None:
        """kill -9: nothing of the program runs after it."""
        self.process.kill()
        self._reap()

    def stop(self) -> None:
        self.process.terminate()
        self._reap()

    def said(self) -> str:
        """What the process has written to standard error so far."""
        return self._said.read_text(encoding="utf-8")

    def _reap(self) -> None:
        self.process.wait(START_WITHIN_S)
        stdout: IO[str] | None = self.process.stdout
        if stdout is not None:
            stdout.close()


@contextmanager
def served(folder: Path, environment: dict[str, str] | None = None, options: Sequence[str] = ()) -> Iterator[Served]:
    """A server that is stopped at the end, whatever happens meanwhile."""
    server = Served(folder, environment=environment, options=options)
    try:
        yield server
    finally:
        if server.process.poll() is None:
            server.stop()


def start_command(*arguments: str, environment: dict[str, str] | None = None) -> Process:
    """Starts `hazefall ARGUMENTS` and does not wait for it."""
    return _started(arguments, environment)


def run_command(
    *arguments: str, within_s: float = 120.0, environment: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """`hazefall ARGUMENTS` to its end."""
    process = start_command(*arguments, environment=environment)
    out, err = process.communicate(timeout=within_s)
    return subprocess.CompletedProcess(arguments, process.returncode, out, err)


def _started(arguments: Sequence[str], more: dict[str, str] | None, told: Path | None = None) -> Process:
    """told : file that standard error is added to; None: it is read from a pipe"""
    # without the settings of the person who runs the tests
    own = {name: value for name, value in os.environ.items() if not name.startswith("HAZEFALL_")}
    environment = own | (more or {})
    if "PYTEST_VERSION" in os.environ:
        return ForkedProgram(arguments, ROOT, environment, told)
    with ExitStack() as opened:
        return subprocess.Popen(
            [*_COMMAND, *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=opened.enter_context(told.open("a", encoding="utf-8")) if told else subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env=environment,
        )

"""`hazefall` as a process of its own without the time that it takes to load.

A process that has loaded the program forks for each command that a test starts (the start method `forkserver` of
`multiprocessing`). What loading does is tested with the true command, in `tests/command_line/test_serve.py`,
`test_wheel.py` and `tests/web/process/`.
"""

import gc
import io
import multiprocessing
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import IO

from app.command_line.main import run

_FORKING = multiprocessing.get_context("forkserver")
_FORKING.set_forkserver_preload([__name__, "tests.faults.everything_loaded"])


class ForkedProgram:
    """`hazefall ARGUMENTS`, to be used like a `subprocess.Popen` of it.

    told : file to which what goes to standard error is added; None: it is read from a pipe, like standard output
    """

    def __init__(
        self, arguments: Sequence[str], cwd: Path, environment: Mapping[str, str], told: Path | None = None
    ) -> None:
        self.args = ["hazefall", *arguments]
        self.stdout, out = _pipe()
        self.stderr: IO[str] | None = None
        if told is None:
            self.stderr, err = _pipe()
        else:
            err = Connection(os.open(told, os.O_APPEND | os.O_CREAT | os.O_WRONLY), readable=False)
        self._process = _FORKING.Process(target=_become, args=(self.args, cwd, dict(environment), out, err))
        with out, err:
            self._process.start()
        self.pid = self._process.pid

    @property
    def returncode(self) -> int | None:
        return self._process.exitcode

    def poll(self) -> int | None:
        return self._process.exitcode

    def wait(self, timeout: float | None = None) -> int:
        self._process.join(timeout)
        if self._process.exitcode is None:
            raise subprocess.TimeoutExpired(self.args, timeout or 0.0)
        return self._process.exitcode

    def send_signal(self, number: int) -> None:
        if self._process.exitcode is None:
            with suppress(ProcessLookupError):  # it ended this moment
                os.kill(self.pid, number)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def communicate(self, timeout: float | None = None) -> tuple[str, str]:
        """What it says until it ends."""
        streams = [self.stdout, *([self.stderr] if self.stderr else [])]
        reading = ThreadPoolExecutor(len(streams))
        try:
            said = [reading.submit(_read_all, stream) for stream in streams]
            words = [each.result(timeout) for each in said]
        except TimeoutError as late:
            raise subprocess.TimeoutExpired(self.args, timeout or 0.0) from late
        finally:
            reading.shutdown(wait=False)
        self.wait(timeout)
        return words[0], words[1] if self.stderr else ""


def _pipe() -> tuple[IO[str], Connection]:
    """What is read here, and what is written there."""
    reads, writes = os.pipe()
    return open(reads, encoding="utf-8"), Connection(writes, readable=False)


def _read_all(stream: IO[str]) -> str:
    if stream.closed:
        return ""
    with stream:
        return stream.read()


def _become(
    arguments: Sequence[str], cwd: Path, environment: Mapping[str, str], out: Connection, err: Connection
) -> None:
    """The forked process from here on."""
    gc.freeze()  # what is loaded is shared, as long as no collection looks through it
    with out, err, open(os.devnull) as nothing:
        os.dup2(nothing.fileno(), 0)
        os.dup2(out.fileno(), 1)
        os.dup2(err.fileno(), 2)
    sys.stdin = io.TextIOWrapper(io.FileIO(0, closefd=False))
    sys.stdout = io.TextIOWrapper(io.FileIO(1, "w", closefd=False), "utf-8")  # the former one was not of a pipe
    os.environ.clear()
    os.environ.update(environment)
    time.tzset()
    tempfile.tempdir = None  # as the environment names it
    os.chdir(cwd)
    sys.argv = [*arguments]
    sys.exit(run())

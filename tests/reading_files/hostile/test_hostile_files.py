"""Each hostile file is read or refused with a message, in bounded time and memory; memory is told by a process of
its own that cannot take more."""

import resource
import subprocess
import sys
from pathlib import Path

import pytest

from tests.reading_files.hostile.hostile_files import HOSTILE

MOST_MEMORY_BYTES = 1_500_000_000  # of addresses, of which the libraries alone take about two thirds
LONGEST_S = 60

_READ = """
import sys
from app.errors import UnreadableLog
from app.reading_files.read_log import read_log
from tests.reading_files.hostile.test_any_bytes import check_promises
content = sys.stdin.buffer.read()
try:
    check_promises(read_log(content, "hostile.csv"))
    print("read")
except UnreadableLog as problem:
    assert problem.message.isprintable() and 40 < len(problem.message) < 2000, problem.message
    print("refused: " + problem.message)
"""


def _bounded() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_file_is_read_or_refused(what: str):
    told = subprocess.run(
        [sys.executable, "-c", _READ],
        input=HOSTILE[what](),
        capture_output=True,
        timeout=LONGEST_S,
        preexec_fn=_bounded,
        cwd=Path(__file__).parents[3],
        env={"OPENBLAS_NUM_THREADS": "1", "PATH": ""},  # each of its threads takes addresses of its own
        check=False,
    )
    assert told.returncode == 0, told.stderr.decode()[-600:]
    assert told.stdout.startswith((b"read", b"refused: hostile.csv"))


def test_the_limit_on_memory_bites():
    """Otherwise the test above would say nothing of memory."""
    told = subprocess.run(
        [sys.executable, "-c", "bytearray(1_600_000_000)"], preexec_fn=_bounded, capture_output=True, check=False
    )
    assert b"MemoryError" in told.stderr

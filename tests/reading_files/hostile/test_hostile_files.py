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

# The libraries are loaded once; each file is then read by a process that is forked for it.
_READ = """
import os, resource, signal, sys, traceback
from pathlib import Path
from app.errors import UnreadableLog
from app.reading_files.read_log import read_log
from tests.reading_files.hostile.test_any_bytes import check_promises

def read(content):
    try:
        check_promises(read_log(content, "hostile.csv"))
        return "read"
    except UnreadableLog as problem:
        assert problem.message.isprintable() and 40 < len(problem.message) < 2000, problem.message
        return "refused: " + problem.message

most, longest, *paths = sys.argv[1:]
for path in paths:
    if os.fork() == 0:
        signal.alarm(int(longest))
        resource.setrlimit(resource.RLIMIT_AS, (int(most), int(most)))
        try:
            said = read(Path(path).read_bytes())
        except BaseException:
            said = traceback.format_exc()
        Path(path + ".told").write_text(said)
        os._exit(0)
    os.wait()
"""


def _bounded() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What was said of each file; nothing of one that took too long, or ended its process."""
    folder = tmp_path_factory.mktemp("hostile")
    paths = {what: folder / str(number) for number, what in enumerate(HOSTILE)}
    for what, path in paths.items():
        path.write_bytes(HOSTILE[what]())
    subprocess.run(
        [sys.executable, "-c", _READ, str(MOST_MEMORY_BYTES), str(LONGEST_S), *map(str, paths.values())],
        cwd=Path(__file__).parents[3],
        env={"OPENBLAS_NUM_THREADS": "1", "PATH": ""},  # each of its threads takes addresses of its own
        check=True,
    )
    answers = {what: path.with_name(f"{path.name}.told") for what, path in paths.items()}
    return {what: answer.read_text() for what, answer in answers.items() if answer.exists()}


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_file_is_read_or_refused(told: dict[str, str], what: str):
    assert what in told, "it took too long, or its process ended"
    assert told[what].startswith(("read", "refused: hostile.csv")), told[what][-600:]


def test_the_limit_on_memory_bites():
    """Otherwise the test above would say nothing of memory."""
    told = subprocess.run(
        [sys.executable, "-c", "bytearray(1_600_000_000)"], preexec_fn=_bounded, capture_output=True, check=False
    )
    assert b"MemoryError" in told.stderr

"""Time from starting Python to the first answered page, against importing the bare web stack alone.

Both sides start a fresh interpreter and report their processor time, so that other load on the machine
matters little. Our side opens a filled bench and renders its ranking; its time ends when the last byte of the page
has gone out. Both start from modules that were compiled before, as any start but the first does. The aim is at most
one and a half times the bare stack.
"""

import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.scale.large_bench import make_large_store

AIM = 1.5
ROUNDS = 9
_USED = "import resource\nused = resource.getrusage(resource.RUSAGE_SELF)\nprint(used.ru_utime + used.ru_stime)\n"
_BARE_STACK = "import fastapi, sqlalchemy, jinja2\n" + _USED
_FIRST_PAGE = f"""
import asyncio
from app.main import app
from tests.bench.asgi_request import get
def once_answered():
    exec({_USED!r})
status, page = asyncio.run(get(app, "/", once_answered))
assert status == 200 and b"</table>" in page, status
"""


def ratio(rounds: int = ROUNDS) -> float:
    """Ratio of the medians over alternating rounds."""
    with tempfile.TemporaryDirectory() as folder:
        make_large_store(Path(folder) / "bench.sqlite", units=30, trials=120)
        environment = start_environment(Path(folder), f"{folder}/compiled")
        bare, ours = [], []
        for program in (_BARE_STACK, _FIRST_PAGE):
            printed_by(program, environment)  # compiles
        for _ in range(rounds):
            bare.append(printed_by(_BARE_STACK, environment))
            ours.append(printed_by(_FIRST_PAGE, environment))
    return statistics.median(ours) / statistics.median(bare)


def start_environment(folder: Path, compiled: str) -> dict[str, str]:
    """Environment of a program on the bench in `folder`, with compiled modules in a folder of their own."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return environment | {"PYTHONPYCACHEPREFIX": compiled, "HAZEFALL_DATA": str(folder)}


def printed_by(program: str, environment: dict[str, str]) -> float:
    """The number that a program prints, run by a fresh interpreter."""
    command = [sys.executable, "-W", "ignore", "-c", program]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    if done.returncode:
        raise RuntimeError(f"The timed program failed: {done.stderr}")
    return float(done.stdout)


if __name__ == "__main__":
    print(f"first page of a started server: {ratio():.2f} times importing fastapi, sqlalchemy and jinja2 (aim {AIM:g})")

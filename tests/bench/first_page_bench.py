"""Time from starting Python to the first answered page, against importing the bare web stack alone."""

import statistics
import subprocess
import sys
import time

BARE_STACK = "import fastapi, sqlalchemy, jinja2"


def first_page_ratio(data_folder: str, rounds: int = 7) -> tuple[float, int]:
    """Ratio of the medians, and the resident memory of the server after its first page [MB].

    Both sides start a fresh interpreter. Our side opens a filled bench and renders its ranking.
    """
    program = (
        "import asyncio, sys\n"
        "from pathlib import Path\n"
        "from app.settings import Settings\n"
        "from app.web.application import make_app\n"
        f"app = make_app(Settings(data_folder=Path({data_folder!r})))\n"
        "from tests.bench.asgi_request import get\n"
        "status, body = asyncio.run(get(app, '/'))\n"
        "assert status == 200 and b'<table' in body, status\n"
        "print(int(open('/proc/self/statm').read().split()[1]) * 4096 // 1_000_000)\n"
    )
    bare, ours, memory = [], [], "0"
    for _ in range(rounds):
        bare.append(_timed(BARE_STACK)[0])
        seconds, memory = _timed(program)
        ours.append(seconds)
    return statistics.median(ours) / statistics.median(bare), int(memory)


def _timed(program: str) -> tuple[float, str]:
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", program], capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"The timed program failed: {done.stderr}")
    return time.perf_counter() - start, done.stdout.strip()

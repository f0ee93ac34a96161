"""Heavy libraries are loaded when used, not when the server starts."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench.scale.large_bench import make_large_store

HEAVY = (
    "numpy",
    "pandas",
    "scipy",
    "plotly",
    "matplotlib",
    "openpyxl",
    "tsdownsample",
    "soundfile",
    "alembic",
    "rich",
    "app.storage.models.trials",  # mapped like all tables that the first page does not read
)
ROOT = Path(__file__).parents[3]


def heavy_modules_after(code: str, environment: dict[str, str]) -> str:
    """The heavy modules that `code` has loaded; it may note an earlier moment with `look()`."""
    program = f"""
import sys
seen = []
def look():
    seen.append(",".join(name for name in {HEAVY!r} if name in sys.modules))
{code}
if not seen:
    look()
print(seen[0])
"""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", program],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=environment,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_the_question_would_see_a_heavy_module(tmp_path: Path):
    assert heavy_modules_after("import scipy", environment_of(tmp_path)) == "numpy,scipy"


def test_importing_the_server_loads_nothing_heavy(tmp_path: Path):
    assert heavy_modules_after("import app.main", environment_of(tmp_path)) == ""


@pytest.mark.parametrize(("trials", "loaded"), [(20, ""), (1300, "app.storage.models.trials")])
def test_the_first_page_of_a_bench_loads_nothing_heavy(tmp_path: Path, trials: int, loaded: str):
    """With 1,300 trials the room has control limits, so its chart is computed; no library is loaded for it either."""
    make_large_store(tmp_path / "bench.sqlite", units=4, trials=trials)
    first_page = """
import asyncio
from app.main import app
from tests.bench.asgi_request import get
status, page = asyncio.run(get(app, "/", once_answered=look))
assert status == 200 and b"4 of 4 units" in page, page
"""
    assert heavy_modules_after(first_page, environment_of(tmp_path)) == loaded


def environment_of(folder: Path) -> dict[str, str]:
    return {**os.environ, "HAZEFALL_DATA": str(folder)}

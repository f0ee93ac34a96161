"""What is heavy loads when it is used, not when the server starts."""

import os
import subprocess
import sys
from pathlib import Path

HEAVY = ("pandas", "scipy", "plotly", "matplotlib", "openpyxl", "tsdownsample", "soundfile", "alembic", "rich")
ROOT = Path(__file__).parents[2]


def heavy_modules_after(code: str, environment: dict[str, str]) -> str:
    ask = f"\nimport sys\nprint(','.join(name for name in {HEAVY!r} if name in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code + ask],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=environment,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip().splitlines()[-1] if done.stdout.strip() else ""


def test_the_question_would_see_a_heavy_module(tmp_path: Path):
    assert heavy_modules_after("import scipy", environment_of(tmp_path)) == "scipy"


def test_importing_the_server_loads_nothing_heavy(tmp_path: Path):
    assert heavy_modules_after("import app.main", environment_of(tmp_path)) == ""


def environment_of(folder: Path) -> dict[str, str]:
    return {**os.environ, "HAZEFALL_DATA": str(folder)}

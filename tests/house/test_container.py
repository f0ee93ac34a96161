"""The container file fits the program: it runs without rights, and uses settings and commands that exist."""

import re
from pathlib import Path

from app.command_line.main import COMMANDS
from app.settings import ENVIRONMENT

ROOT = Path(__file__).parents[2]
LINES = (ROOT / ".container" / "Containerfile").read_text(encoding="utf-8").splitlines()


def told(instruction: str) -> list[str]:
    return [line.removeprefix(f"{instruction} ") for line in LINES if line.startswith(f"{instruction} ")]


def test_it_runs_as_a_user_without_rights_and_keeps_the_bench_on_a_volume():
    assert told("USER") == ["bench"]
    assert LINES.index("USER bench") < next(at for at, line in enumerate(LINES) if line.startswith("CMD"))
    assert told("VOLUME") == ["/data"]
    assert "HAZEFALL_DATA=/data" in told("ENV")[0]


def test_its_settings_and_its_command_exist():
    assert set(re.findall(r"(HAZEFALL_\w+)=", " ".join(told("ENV")))) <= set(ENVIRONMENT)
    words = re.findall(r'"([^"]+)"', told("CMD")[0])
    assert words[0] == "hazefall"
    assert words[1] in COMMANDS


def test_what_it_copies_is_there_and_the_readme_names_it():
    assert (ROOT / "constraints.txt").is_file()
    assert "podman build -f .container/Containerfile -t hazefall ." in (ROOT / "README.md").read_text(encoding="utf-8")

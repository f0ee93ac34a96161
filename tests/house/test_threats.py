"""Each threat in the list for developers names a test that exists."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEADING = "## Threats and the tests that cover them"
_LINE = re.compile(r"^\| (?P<threat>[^|]+) \| [^|]+ \| `(?P<file>tests/[\w/]+\.py)::(?P<test>test_\w+)` \|$")


def threat_lines() -> list[str]:
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split(HEADING, 1)[1].split("\n## ", 1)[0]
    rows = [line for line in section.splitlines() if line.startswith("|")]
    return rows[2:]  # the head and the rule under it


def names_of_tests(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_there_is_a_list_of_threats():
    assert len(threat_lines()) >= 20


@pytest.mark.parametrize("line", threat_lines(), ids=lambda line: line.split("|")[1].strip())
def test_every_threat_names_a_test_that_exists(line: str):
    found = _LINE.match(line)
    assert found, "threat | what stands against it | `file::test`"
    assert found["test"] in names_of_tests(ROOT / found["file"])

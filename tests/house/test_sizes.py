"""Files, functions and calls stay small enough to be read in one go."""

import ast
from pathlib import Path

from tests.house.source import nodes_of_text

ROOT = Path(__file__).resolve().parents[2]
MOST_LINES_OF_A_FILE = 300
MOST_LINES_OF_A_FUNCTION = 60
MOST_PARAMETERS = 8
MOST_ARGUMENTS = 8

# A record with many fields is one list of facts, not many choices, so a call that makes one is as long as the record:
# classes (their names begin with a capital) and the functions below.
LISTS_OF_FACTS = {
    "select": "the columns of a query",
    "replace": "the fields of a record",
    "record_change": "the columns of one row in the record of changes",
    "empty_form": "the fields of a form",
    "rendered": "what a template gets, by name",
    "join_spans": "the parts of a sentence",
    "pd.read_csv": "the options of a library",
    "self.axes.text": "the options of a library",
    "self.axes.plot": "the options of a library",
    "self.axes.annotate": "the options of a library",
    "analyse_decay": "published checks call it with each of these by name",
}

# What is still too large, by path; the list only shrinks.
STILL_TOO_LARGE: dict[str, set[str]] = {}


def python_files() -> list[Path]:
    return sorted(path for folder in ("app", "seed_demo") for path in (ROOT / folder).rglob("*.py"))


def too_large(source: str) -> set[str]:
    """What passes a limit in the text of one file, by name."""
    found = {"the file"} if source.count("\n") > MOST_LINES_OF_A_FILE else set()
    for node in nodes_of_text(source):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            if (node.end_lineno or node.lineno) - node.lineno + 1 > MOST_LINES_OF_A_FUNCTION:
                found.add(node.name)
            arguments = node.args
            number = len(arguments.posonlyargs + arguments.args + arguments.kwonlyargs)
            if number > MOST_PARAMETERS and node.name not in LISTS_OF_FACTS:
                found.add(f"parameters of {node.name}")
        elif isinstance(node, ast.Call) and len(node.args) + len(node.keywords) > MOST_ARGUMENTS:
            called = ast.unparse(node.func)
            if called not in LISTS_OF_FACTS and not called.rpartition(".")[2][:1].isupper():
                found.add(f"call of {called}")
    return found


def test_the_measure_sees_each_kind():
    many = ", ".join("abcdefghi")
    long_function = "def long():\n" + "    pass\n" * 60
    assert too_large(f"def wide({many}): pass\ncall({many})\nRecord({many})\n{long_function}") == {
        "parameters of wide",
        "call of call",
        "long",
    }
    assert too_large("pass\n" * 301) == {"the file"}


def test_nothing_is_larger_than_can_be_read_in_one_go():
    found = {
        str(path.relative_to(ROOT)): names for path in python_files() if (names := too_large(path.read_text("utf-8")))
    }
    assert found == STILL_TOO_LARGE

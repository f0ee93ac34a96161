"""Pages, messages, drafts, command help, docstrings and documents use standard words instead of these phrases."""

import ast
import re
from pathlib import Path

import pytest

from tests.house.source import nodes_of_text

# Each is a regular expression over lower-case text, beside the words to use instead.
BANNED = {
    r"\b(?:is|are|was|were|been|not) told\b(?! apart)": "specified, entered, given",
    r"\btold from zero\b": "distinguished from zero",
    r"\b(?:it|they|unit|units|trial|row|rows|header|date|level|there) (?:stands?|lies|lie) ": "is, are",
    r"\b(?:holds?|held) (?:\w+ )?against\b": "compare with",
    r"\bis kept\b(?! alive)": "is stored",
    r"\b(?:takes?|taken|taking|took) (?:it |them )?back\b": "remove, restore",
    r"\blets? go\b": "release",
    r"\bdearer\b": "more expensive",
    r"\bsofter\b": "quieter",
    r"\bin its own right\b": "by itself",
    r"\bof which one does not serve\b": "where one unit is not enough",
    r"\b(?:serves|serve) (?:the|that|a) room\b": "is enough for the room",
    r"\btake (?:this|the|these|what)\b": "download",
    r"\bbegin anew\b": "reset",
    r"\badvise me\b": "find units",
    r"\bwork it out\b": "calculate",
    r"\bworked out\b": "calculated",
    r"\bto know\b": "notes",
    r"\brests? on\b": "is based on, depends on",
    r"\b95(?:\s|&nbsp;)?% less smoke\b": "time to 95 % reduction",
    r"\bfrom here on\b": "decay starts",
    r"\bleaves over\b": "residuals",
    r"\bread instead as\b": "change to",
    r"\bnewest datum\b": "latest data",
    r"\bon the bench already\b": "already exists",
    r"\bwhich is still to come\b": "which is in the future",
    r"\bneeds? to be (?:above|zero|from|one of|a )": "must be",
    r"\bfound from the (?:data|readings)\b": "detected from the data",
    r"\bkind of particle\b": "aerosol",
    r"\bbrought back\b": "restored",
    r"\bmoves it by\b": "sensitivity",
    r"\bsigns that nobody sees\b": "invisible characters",
}
# Values that are stored or sent, not shown: an action of the record of changes and a choice in addresses and the API.
VALUES = {"taken back", "quietest that serves the room"}
PATTERNS = {re.compile(pattern): better for pattern, better in BANNED.items()}
TEMPLATES = sorted(path for path in Path("templates").rglob("*") if path.suffix in (".html", ".xml"))
MODULES = sorted(Path("app").rglob("*.py"))
DOCUMENTS = (Path("README.md"), Path("DEVELOPERS.md"))


def _shown_by_template(text: str) -> str:
    """Text and attributes of a template with the strings of its expressions, without comments, tags and addresses."""
    text = re.sub(r"{#.*?#}", " ", text, flags=re.DOTALL)
    in_expressions = " ".join(
        " ".join(re.findall(r'"([^"]*)"', part)) for part in re.findall(r"{[{%](.*?)[%}]}", text, re.DOTALL)
    )
    outside = re.sub(r"{[{%].*?[%}]}", " ", text, flags=re.DOTALL)
    attributes = " . ".join(re.findall(r'(?:aria-label|alt|placeholder|title|data-working)="([^"]*)"', outside))
    return " . ".join((re.sub(r"<[^>]*>", " ", outside), attributes, in_expressions))


def _read_in_module(source: str) -> list[str]:
    """Strings of a module that can be read: its literals and docstrings, an f-string joined to one text."""
    nodes = nodes_of_text(source)
    parts = {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
    found = []
    for node in nodes:
        if isinstance(node, ast.JoinedStr):
            found.append(
                "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)  # type: ignore[misc]
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in parts:
            found.append(node.value)
    return [text for text in found if " " in text.strip() and text not in VALUES]


def _banned_in(text: str) -> list[str]:
    words = " ".join(text.replace("\u00a0", " ").casefold().split())
    return [
        f"“{found[0]}” (write: {better})" for pattern, better in PATTERNS.items() for found in pattern.finditer(words)
    ]


def test_templates_use_standard_words():
    assert [
        f"{path}: {words}" for path in TEMPLATES for words in _banned_in(_shown_by_template(path.read_text()))
    ] == []


def test_modules_use_standard_words():
    read = ((path, text) for path in MODULES for text in _read_in_module(path.read_text(encoding="utf-8")))
    assert [f"{path}: {words}" for path, text in read for words in _banned_in(text)] == []


def test_documents_use_standard_words():
    read = ((path, re.sub(r"`[^`]*`", "` `", path.read_text(encoding="utf-8"))) for path in DOCUMENTS)
    assert [f"{path}: {words}" for path, text in read for words in _banned_in(text)] == []


@pytest.mark.parametrize(
    "text",
    [
        "<button>Take this chart</button>",
        '{{ field("max_price", "Not dearer than") }}',
        '<th scope="col" aria-label="To know">Notes</th>',
        "<p>95&nbsp;% less smoke</p>",
        "{% if page.old %}<a>Begin anew</a>{% endif %}",
    ],
)
def test_the_finder_sees_a_phrase_in_a_template(text: str):
    assert len(_banned_in(_shown_by_template(text))) == 1


@pytest.mark.parametrize(
    "source",
    [
        'raise InvalidValue(f"{what} is not told.")',
        'raise InvalidValue(f"The rate of {unit} cannot be told "\n    "from zero.")',
        'WORDS = {"taken back": "was taken back"}',
        'x = ("the level needs to be "\n    "above zero")',
        'def f():\n    """What it rests on."""\n',
    ],
)
def test_the_finder_sees_a_phrase_in_a_module(source: str):
    assert [words for text in _read_in_module(source) for words in _banned_in(text)]


def test_the_finder_leaves_comments_alone():
    assert _banned_in(_shown_by_template("{# what a template rests on #}<p>Notes</p>")) == []
    assert _read_in_module("x = 1  # not told\n") == []

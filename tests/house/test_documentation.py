"""The documents match the program: settings, commands, libraries, and the docstring of each package."""

import ast
import re
from pathlib import Path

from app.command_line.main import COMMANDS
from app.settings import ENVIRONMENT
from tests.house.source import nodes_of

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()


def test_every_setting_is_in_the_readme_with_the_same_words():
    for name, words in ENVIRONMENT.items():
        assert f"| `{name}` | {words} |" in README
    assert set(re.findall(r"`(HAZEFALL_[A-Z_]+)`", README)) == set(ENVIRONMENT)


def test_every_command_is_in_the_readme():
    for command in COMMANDS:
        assert f"`hazefall {command}" in README


def test_every_library_is_explained_or_part_of_the_core():
    core = {"fastapi", "sqlalchemy", "jinja2", "plotly", "pandas", "scipy", "numpy", "uvicorn", "pytest", "httpx"}
    project = (ROOT / "pyproject.toml").read_text()
    named = set(re.findall(r'^    "([a-z0-9-]+)(?:\[\w+\])?(?:[<>=].*)?",$', project, re.MULTILINE))
    assert named
    for library in named - core:
        assert re.search(rf"\b{library}\b", DEVELOPERS), f"DEVELOPERS.md does not say why {library} is there"


def test_every_package_says_what_it_is_for_and_where_to_begin():
    for folder in sorted({path.parent for path in (ROOT / "app").rglob("*.py")}):
        init = folder / "__init__.py"
        text = (ast.get_docstring(ast.parse(init.read_text())) if init.exists() else None) or ""
        named = re.findall(r"`([\w/]+\.py)`", text)
        assert any((folder / name).is_file() for name in named), f"{init.relative_to(ROOT)} names no file to begin with"


def test_docstrings_describe_parameters_and_fields_that_exist():
    """A line such as `limit : most rows` names a parameter, or a field of a class without a base."""
    checked = 0
    for path in sorted((ROOT / "app").rglob("*.py")):
        for node in nodes_of(path):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                known = _parameters(node)
            elif isinstance(node, ast.ClassDef) and not node.bases:
                inits = [_parameters(part) for part in node.body if getattr(part, "name", "") == "__init__"]
                known = {ast.unparse(part.target) for part in node.body if isinstance(part, ast.AnnAssign)}.union(
                    *inits
                )
                known |= {part.name for part in node.body if isinstance(part, ast.FunctionDef)}
            else:
                continue
            for names in re.findall(r"^\s*((?:\w+, )*\w+) : ", ast.get_docstring(node) or "", re.MULTILINE):
                checked += 1
                assert set(names.split(", ")) <= known, f"{path.relative_to(ROOT)}: {node.name} has no {names}"
    assert checked > 500


def _parameters(node: ast.AST) -> set[str]:
    return {part.arg for part in ast.walk(node.args) if isinstance(part, ast.arg)}  # type: ignore[attr-defined]


def test_every_file_that_is_named_exists():
    """Paths of Python files in the documents, and all paths of ours in the comments of templates, code and tests."""
    texts = {path: path.read_text(encoding="utf-8", errors="replace") for path in _texts()}
    known = {str(path.relative_to(ROOT)) for path in texts}
    ends = {part for path in known for part in _ends(path)}
    for path, text in texts.items():
        if path.name == "CHANGELOG.md":
            continue  # it tells what was
        named = set(
            re.findall(r"(?<![\w/.])(?:app|seed_demo|static|templates|tests)/[\w/]+\.(?:css|html|js|py)\b", text)
        )
        if path.suffix == ".md":
            named |= set(re.findall(r"`((?:\w+/)*\w+\.py)\b", text))
        assert named - ends == set(), f"{path.relative_to(ROOT)} names files that are not there"


def _ends(path: str):
    """The path, and the same without its first folders.

    >>> list(_ends("app/web/delivery.py"))
    ['app/web/delivery.py', 'web/delivery.py', 'delivery.py']
    """
    parts = path.split("/")
    return ("/".join(parts[place:]) for place in range(len(parts)))


def test_the_project_speaks_of_itself_alone():
    hosts = ["pypi" + ".org", "npmjs" + ".com", "deb.debian" + ".org", "pythonhosted" + ".org"]
    places = ["/work" + "/main", "/work" + "/shared", "/work" + "/.library"]
    for path in _texts():
        text = path.read_text(errors="replace")
        for words in (*hosts, *places):
            assert words not in text, f"{path.relative_to(ROOT)} mentions {words}"


def _texts():
    folders = ["app", "templates", "static", "migrations", "tests", "seed_demo", ".ci"]
    endings = {".py", ".html", ".css", ".js", ".md", ".toml", ".txt", ".mako", ""}
    yield from (ROOT / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "pyproject.toml"))
    for folder in folders:
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and path.suffix in endings and "__pycache__" not in path.parts:
                yield path

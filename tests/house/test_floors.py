"""No import goes up a floor, and none is hidden inside a function to do so."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from tests.house.source import nodes_of

APP = Path(__file__).parents[2] / "app"
FLOOR = {
    "bundled_files": 0,
    "hidden_marks": 0,
    "errors": 0,
    "settings": 0,
    "compute": 1,
    "reading_files": 1,
    "storage": 2,
    "services": 3,
    "figures": 4,
    "command_line": 5,
    "web": 5,
    "main": 6,
}
NEVER_TOGETHER = {("compute", "reading_files"), ("reading_files", "compute"), ("web", "command_line")}
STORAGE_IN_WEB = {"dependencies.py", "page_context.py"}


def folder_of(path: Path) -> str:
    return path.relative_to(APP).parts[0].removesuffix(".py")


def folders_imported(path: Path) -> set[str]:
    """Folders of `app` that a file imports from, wherever in the file."""
    names: set[str] = set()
    for node in nodes_of(path):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            if node.module == "app":
                names |= {alias.name for alias in node.names}
            elif node.module.startswith("app."):
                names.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            names |= {alias.name.split(".")[1] for alias in node.names if alias.name.startswith("app.")}
    return names


def python_files() -> list[Path]:
    return sorted(path for path in APP.rglob("*.py") if path.name != "__init__.py")


def test_the_reader_of_imports_sees_every_form(tmp_path: Path):
    file = tmp_path / "sample.py"
    file.write_text("from app.web import a\nimport app.storage.b\ndef f():\n    from app.compute.c import d\n")
    assert folders_imported(file) == {"web", "storage", "compute"}


def test_no_import_goes_up_a_floor():
    upward = {
        f"{path.relative_to(APP)} imports {name}"
        for path in python_files()
        for name in folders_imported(path)
        if FLOOR[name] > FLOOR[folder_of(path)]
    }
    assert upward == set()


def test_neighbours_on_a_floor_stay_apart():
    """Physics and file reading know nothing of each other; neither do pages and the command line's inner parts."""
    met = {
        f"{path.relative_to(APP)} imports {name}"
        for path in python_files()
        for name in folders_imported(path)
        if (folder_of(path), name) in NEVER_TOGETHER
    }
    assert met == set()


def test_the_web_floor_reaches_tables_in_two_places_only():
    past_the_services = [
        str(path.relative_to(APP))
        for path in python_files()
        if folder_of(path) == "web" and path.name not in STORAGE_IN_WEB and "storage" in folders_imported(path)
    ]
    assert past_the_services == [], "go through a service"


def test_compute_has_no_clock_no_file_no_store():
    allowed = {"numpy", "scipy", "app", *STANDARD_ALLOWED}
    forbidden = {"os", "pathlib", "time", "sqlite3", "urllib", "socket", "subprocess", "random"}
    assert not allowed & forbidden
    others = {
        f"{path.relative_to(APP)} imports {name}"
        for path in (APP / "compute").rglob("*.py")
        for name in outside_imports(path) - allowed
    }
    assert others == set()


STANDARD_ALLOWED = {
    "bisect",
    "collections",
    "dataclasses",
    "datetime",
    "enum",
    "fractions",
    "functools",
    "hashlib",
    "itertools",
    "math",
    "operator",
    "re",
    "statistics",
    "typing",
}


def outside_imports(path: Path) -> set[str]:
    roots: set[str] = set()
    for node in nodes_of(path):
        if isinstance(node, ast.ImportFrom) and node.module:
            roots.add(node.module.split(".")[0])
        elif isinstance(node, ast.Import):
            roots |= {alias.name.split(".")[0] for alias in node.names}
    return roots


def imports_of(path: Path) -> set[str]:
    """The modules and packages of `app` that a file imports, dotted."""
    names: set[str] = set()
    for node in nodes_of(path):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "app":
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names if alias.name.split(".")[0] == "app"}
    return names


def rings_between_siblings(imports: dict[str, set[str]]) -> set[str]:
    """Rings between entries of one folder, by every folder from `app` downward, as sentences."""
    edges: dict[str, dict[str, set[str]]] = {}
    for importer, imported in imports.items():
        for name in imported:
            one, other = importer.split("."), name.split(".")
            depth = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), None)
            if depth is not None:
                edges.setdefault(".".join(one[:depth]), {}).setdefault(one[depth], set()).add(other[depth])
    found: set[str] = set()
    for folder, graph in edges.items():
        try:
            tuple(TopologicalSorter(graph).static_order())
        except CycleError as ring:
            found.add(f"{folder}: {' -> '.join(ring.args[1])}")
    return found


def test_the_ring_finder_sees_a_ring():
    imports = {"app.services.a.x": {"app.services.b.y.f"}, "app.services.b.z": {"app.services.a.w.g"}}
    assert rings_between_siblings(imports) in ({"app.services: a -> b -> a"}, {"app.services: b -> a -> b"})
    del imports["app.services.b.z"]
    assert rings_between_siblings(imports) == set()


def test_no_ring_between_siblings_of_any_folder():
    root = APP.parent
    imports = {".".join(path.relative_to(root).with_suffix("").parts): imports_of(path) for path in python_files()}
    assert rings_between_siblings(imports) == set()


MOST_ENTRIES = 17


@pytest.mark.parametrize("name", ["app", "templates", "tests"])
def test_a_folder_holds_no_more_than_can_be_taken_in_at_a_glance(name: str):
    root = APP.parent / name
    folders = [root, *(path for path in root.rglob("*") if path.is_dir())]
    full = {
        str(folder.relative_to(APP.parent)): number
        for folder in folders
        if folder.name != "__pycache__"
        and (number := sum(entry.name not in ("__init__.py", "__pycache__") for entry in folder.iterdir()))
        > MOST_ENTRIES
    }
    assert full == {}

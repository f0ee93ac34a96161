"""Every command on a store that is locked, read-only, from a newer program or damaged: status 1, one message, no
traceback.

The message says what was found and what to do. A new command is included automatically, or this file fails.
"""

import ast
import importlib
import io
import os
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from app.command_line import bench_folder
from app.command_line.main import COMMANDS, run
from app.services.store import backup as backup_store
from app.services.store import open as opening
from app.services.store.open import open_store
from app.settings import Settings
from tests.conftest import decay_log, sqlite_only

pytestmark = sqlite_only

# What is typed for each command: {bench} is the folder in trouble, {place} one that can be written.
TYPED = {
    "demo": ["demo", "--data", "{bench}", "--port", "0"],
    "serve": ["serve", "--data", "{bench}", "--port", "0"],
    "import": ["import", "{place}/logs", "--room", "Room A", "--empty-room", "--add-missing", "--data", "{bench}"],
    "recompute": ["recompute", "--accept", "--who", "Ada", "--why", "again", "--workers", "1", "--data", "{bench}"],
    "backup": ["backup", "{bench}/copy.sqlite", "--data", "{bench}"],
    "restore": ["restore", "{place}/copy.sqlite", "--overwrite", "--data", "{bench}"],
    "copy-store": ["copy-store", "{bench}", "{place}/moved.sqlite"],
    "account": ["account", "add", "Ada", "--role", "edit", "--data", "{bench}"],
    "token": ["token", "list", "--data", "{bench}"],
    "check": ["check", "--data", "{bench}"],
    "link": ["link", "--data", "{bench}"],
    "package": ["package", "{place}/out.zip", "--data", "{bench}"],
    "publish": ["publish", "{place}/site", "--workers", "1", "--data", "{bench}"],
}
# Of `restore` the copy is in trouble as well as the store: one from a newer program or damaged is not brought back.
_TYPED_FOR = {
    (command, state): typed
    for state in ("newer", "corrupt")
    for command, typed in {"restore": ["restore", "{bench}/bench.sqlite", "--data", "{place}/other"]}.items()
}
WITHOUT_A_STORE = {"analyse", "watch"}
# A copy is made page by page, so that a store of a newer program is copied as well as any other;
# a check only reads.
_DONE = {("backup", "newer"), ("check", "read-only")}

TOLD = {
    "locked": ("is locked by another program", "Close that program"),
    "read-only": ("cannot be written", "Give the program write permission"),
    "newer": ("is from a newer Hazefall: its version is 8888", "Install the newer version"),
    "corrupt": ("is damaged or not a store", "`hazefall restore`"),
}
_TOLD_FOR = {
    ("restore", "corrupt"): ("is damaged or cut off", "Use another copy"),
    ("backup", "read-only"): ("could not be written: Permission denied", "Choose another place for it"),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty bench, a copy of its store, and a log: made once, because making a store takes longest."""
    folder = tmp_path_factory.mktemp("made")
    open_store(Settings(folder / "bench")).dispose()
    assert run(["backup", str(folder / "copy.sqlite"), "--data", str(folder / "bench")]) == 0
    (folder / "logs").mkdir()
    (folder / "logs" / "a.csv").write_bytes(decay_log(4.0, minutes=30))
    return folder


@pytest.fixture
def place(made: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The same in a folder that every user may enter and write."""
    monkeypatch.setattr(opening, "_LOCK_TIMEOUT_S", 0.1)
    monkeypatch.setattr(backup_store, "WAIT_FOR_STORE_S", 0.1)
    monkeypatch.setattr("app.command_line.serve.serve", lambda *_a, **_k: 0)  # a store that opens would be served
    monkeypatch.setattr(sys, "stdin", io.StringIO("a long enough password\n"))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copytree(made, folder, dirs_exist_ok=True)
        folder.chmod(0o777)
        yield folder
        (folder / "bench").chmod(0o755)


@contextmanager
def _locked(bench: Path) -> Iterator[None]:
    with closing(sqlite3.connect(bench / "bench.sqlite")) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        yield


def _load_what_commands_use() -> None:
    """Commands load most of the program when they use it, and another user may have no right to read the Python of
    the superuser."""
    for path in Path(bench_folder.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                importlib.import_module(node.module)


@contextmanager
def _read_only(bench: Path) -> Iterator[None]:
    """As a user who may read everything and write nothing there; the superuser may write everywhere."""
    _load_what_commands_use()
    (bench / "bench.sqlite").chmod(0o444)
    bench.chmod(0o555)
    superuser = os.geteuid() == 0
    if superuser:
        os.seteuid(65534)
    try:
        yield
    finally:
        if superuser:
            os.seteuid(0)


@contextmanager
def _newer(bench: Path) -> Iterator[None]:
    with closing(sqlite3.connect(bench / "bench.sqlite")) as store:
        store.execute("UPDATE alembic_version SET version_num = '8888'")
        store.commit()
    yield


@contextmanager
def _corrupt(bench: Path) -> Iterator[None]:
    path = bench / "bench.sqlite"
    content = bytearray(path.read_bytes())
    content[100:3000] = b"\xff" * 2900
    path.write_bytes(content)
    yield


TROUBLE: dict[str, Callable] = {"locked": _locked, "read-only": _read_only, "newer": _newer, "corrupt": _corrupt}


def _typed(command: str, state: str, place: Path) -> list[str]:
    typed = _TYPED_FOR.get((command, state), TYPED[command])
    return [word.format(bench=place / "bench", place=place) for word in typed]


def test_no_command_is_forgotten():
    assert set(TYPED) | WITHOUT_A_STORE == set(COMMANDS)
    assert not set(TYPED) & WITHOUT_A_STORE


@pytest.mark.parametrize("state", TROUBLE)
@pytest.mark.parametrize("command", TYPED)
def test_a_store_in_trouble_gets_one_message(command: str, state: str, place: Path, capsys: pytest.CaptureFixture[str]):
    capsys.readouterr()
    with TROUBLE[state](place / "bench"):
        status = run(_typed(command, state, place))
    said = capsys.readouterr()
    if (command, state) in _DONE:
        assert (status, said.err) == (0, "")
        return
    assert status == 1, said
    assert said.out == ""
    (message,) = said.err.splitlines()
    found, to_do = _TOLD_FOR.get((command, state), TOLD[state])
    assert message.startswith(f"hazefall {command}: ")
    assert found in message
    assert to_do in message


@pytest.mark.parametrize("state", ["newer", "corrupt"])
def test_a_store_in_trouble_is_replaced_by_a_copy_and_kept(state: str, place: Path, capsys: pytest.CaptureFixture[str]):
    """The messages send people here."""
    store = place / "bench" / "bench.sqlite"
    with TROUBLE[state](place / "bench"):
        before = store.read_bytes()
        assert run(["restore", str(place / "copy.sqlite"), "--overwrite", "--data", str(place / "bench")]) == 0
    assert run(["check", "--data", str(place / "bench")]) == 0
    (kept,) = store.parent.glob("bench.sqlite.replaced-*")
    assert kept.read_bytes() == before

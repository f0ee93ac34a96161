"""The built wheel works where it is installed, started from another folder."""

import os
import re
import subprocess
import sys
import urllib.request
import zipfile
from pathlib import Path

import pytest

from tests.web.security.real_proxy import free_port

CHECKOUT = Path(__file__).resolve().parents[2]


_MAKE_THE_SMALL_BENCH = """
import sys
from pathlib import Path
import app, seed_demo
from app.services.store.open import open_store
from app.settings import Settings
from seed_demo.build import build_demo
store = open_store(Settings(Path(sys.argv[1])))
assert build_demo(store, small=True)
store.dispose()
print(app.__file__, seed_demo.__file__)
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(CHECKOUT)]
    subprocess.run(command, check=True, capture_output=True)
    return next(folder.glob("hazefall-*.whl"))


def test_the_wheel_carries_templates_static_files_migrations_and_the_demo(wheel: Path):
    names = zipfile.ZipFile(wheel).namelist()
    for folder in ("templates", "static", "migrations"):
        carried = {n.removeprefix("app/bundled/") for n in names if n.startswith(f"app/bundled/{folder}/")}
        wanted = {
            p.relative_to(CHECKOUT).as_posix()
            for p in (CHECKOUT / folder).rglob("*")
            if p.is_file() and "__pycache__" not in p.parts
        }
        assert wanted <= carried
    assert any(n.startswith("seed_demo/") for n in names)
    assert not any(n.startswith("tests/") for n in names)


def test_the_installed_wheel_serves_the_demo_bench_from_another_folder(wheel: Path, tmp_path: Path):
    installed, elsewhere, data = tmp_path / "installed", tmp_path / "elsewhere", tmp_path / "data"
    elsewhere.mkdir()
    command = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--no-compile"]
    command += ["--target", str(installed)]
    subprocess.run([*command, str(wheel)], check=True, capture_output=True)
    environ = {**os.environ, "PYTHONPATH": str(installed), "XDG_DATA_HOME": str(data)}
    # the small bench, by the installed program, where `hazefall demo` would make the whole one
    where = subprocess.run(
        [sys.executable, "-c", _MAKE_THE_SMALL_BENCH, str(data / "hazefall-demo")],
        cwd=elsewhere, env=environ, check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    assert where.count(str(installed)) == 2

    port = free_port()
    server = subprocess.Popen(
        [sys.executable, "-m", "app.command_line.main", "demo", "--port", str(port)],
        cwd=elsewhere, env=environ, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        page = _let_in(port, server)
        assert "invented" in page
        stylesheet = re.search(r'href="([^"]+\.css[^"]*)"', page)
        assert stylesheet is not None
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{stylesheet[1]}") as answer:
            assert answer.status == 200
    finally:
        server.terminate()
        server.communicate(timeout=30)
    assert list(elsewhere.iterdir()) == []
    assert [folder.name for folder in data.iterdir()] == ["hazefall-demo"]


def _let_in(port: int, server: subprocess.Popen) -> str:
    """The first page, for a script that goes by what was printed."""
    link = next((line.split()[1] for line in server.stdout if line.startswith(f"Open http://127.0.0.1:{port}/")), None)
    if link is None:
        pytest.fail("The demo stopped before it printed its link.")
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    with browser.open(link, timeout=60) as answer:
        return answer.read().decode()

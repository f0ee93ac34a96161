"""Compiled templates are cached for the next start, and nothing depends on the cache."""

import sys
from pathlib import Path

import pytest
from jinja2 import DictLoader, Environment

from app.web.templating.compiled_templates import CompiledTemplates


def rendered(folder: Path, source: str = "{{ 6 * 7 }} m³", module: Path = Path(__file__)) -> str:
    """What a freshly started program makes of a template."""
    made = Environment(loader=DictLoader({"page": source}), bytecode_cache=CompiledTemplates(module, folder))
    return made.get_template("page").render()


@pytest.fixture(autouse=True)
def _python_keeps_what_it_compiles(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)


def test_a_template_is_compiled_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    assert rendered(tmp_path) == "42 m³"
    assert len(list(tmp_path.iterdir())) == 1
    monkeypatch.setattr(Environment, "_generate", lambda *_, **__: pytest.fail("compiled again"))
    assert rendered(tmp_path) == "42 m³"


def test_a_changed_template_is_compiled_again(tmp_path: Path):
    assert rendered(tmp_path) == "42 m³"
    assert rendered(tmp_path, "{{ 6 * 8 }} m³") == "48 m³"


def test_another_state_of_the_environment_has_files_of_its_own(tmp_path: Path):
    module = tmp_path / "templating.py"
    for text in ("one state", "another state"):
        module.write_text(text)
        rendered(tmp_path, module=module)
    assert len(list(tmp_path.glob("template-*"))) == 2


@pytest.mark.parametrize("keep", [0, 10, 30, 60, -3])
def test_a_damaged_file_only_means_compiling_again(tmp_path: Path, keep: int):
    rendered(tmp_path)
    (kept,) = tmp_path.iterdir()
    kept.write_bytes(kept.read_bytes()[:keep])
    assert rendered(tmp_path) == "42 m³"


def test_a_folder_that_is_not_there_only_means_compiling_each_time(tmp_path: Path):
    assert rendered(tmp_path / "missing") == "42 m³"
    assert not (tmp_path / "missing").exists()


def test_a_python_that_keeps_no_compiled_modules_keeps_no_templates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    assert rendered(tmp_path) == "42 m³"
    assert list(tmp_path.iterdir()) == []

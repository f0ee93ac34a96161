"""A page or chart that fails is named, and takes nothing with it."""

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from app.command_line.main import run
from app.errors import StoreProblem
from app.services.store.audit import record_change
from app.storage.engine import session_scope
from app.storage.models.units_under_test import UnitUnderTest
from app.web.published import make, site_pictures
from app.web.published.publish import publish


def _fails_for(monkeypatch: pytest.MonkeyPatch, unit: int) -> None:
    whole = make.unit_files

    def some(session: Any, site: Any, unit_id: int, pictures: Any) -> Any:
        if unit_id == unit:
            raise RuntimeError("the drawing broke")
        return whole(session, site, unit_id, pictures)

    monkeypatch.setattr(make, "unit_files", some)


def test_a_page_that_fails_is_named_with_its_unit_and_the_others_are_published(
    bench: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    _fails_for(monkeypatch, 1)
    command = ["publish", str(tmp_path / "site"), "--data", str(tmp_path / "bench"), "--workers", "1"]
    assert run(command) == 1
    told = capsys.readouterr()
    assert "unit 1 (Maker A Model 1) failed: RuntimeError: the drawing broke" in told.err
    assert "Edition 1 of " in told.out
    page = (tmp_path / "site/units/maker-a-model-1/index.html").read_text()
    assert "The page of unit 1 (Maker A Model 1) could not be made" in page
    assert "Maker Z" in (tmp_path / "site/units/maker-z-lamp/index.html").read_text()
    monkeypatch.undo()
    assert run(command) == 0
    assert "Does the Maker A Model 1 clean the air?" in (tmp_path / "site/units/maker-a-model-1/index.html").read_text()


def test_the_page_of_the_edition_before_stays_where_a_new_one_fails(
    bench: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    site = tmp_path / "site"
    publish(bench, site, workers=1)
    page = (site / "units/maker-a-model-1/index.html").read_text()
    with session_scope(bench) as session:
        session.get_one(UnitUnderTest, 1).notes = "not published, but the page is made again"
    _fails_for(monkeypatch, 1)
    done = publish(bench, site, workers=1)
    assert [failure.what for failure in done.failures] == ["unit 1 (Maker A Model 1)"]
    assert not done.is_new
    assert (site / "units/maker-a-model-1/index.html").read_text() == page
    assert (site / "charts/maker-a-model-1-decay.svg").is_file()


def test_a_chart_that_fails_leaves_its_page(bench: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    whole = site_pictures.make_chart

    def some(session: Any, name: str, form: Any) -> Any:
        if name == "decay-overlay":
            raise ValueError("Width and height specified must be non-negative")
        return whole(session, name, form)

    monkeypatch.setattr(site_pictures, "make_chart", some)
    done = publish(bench, tmp_path / "site", workers=1)
    assert "the chart “decay-overlay” of unit 1 (Maker A Model 1)" in {failure.what for failure in done.failures}
    assert "Does the Maker A Model 1 clean the air?" in (tmp_path / "site/units/maker-a-model-1/index.html").read_text()


@pytest.mark.parametrize("length", [200, 600])
def test_hostile_names_are_published(bench: Engine, tmp_path: Path, length: int):
    """The first is the longest that a form allows; the second is longer, as an import of old data might hold it."""
    with session_scope(bench) as session:
        unit = session.get_one(UnitUnderTest, 1)
        unit.maker, unit.model = "W" * length, "<svg/onload=x>\u202e$\\frac{1}{0}$ " * (length // 30)
    done = publish(bench, tmp_path / "site", workers=1)
    assert done.edition == 1
    assert (tmp_path / "site/index.html").is_file()
    assert "<svg/onload" not in (tmp_path / "site/index.html").read_text()
    assert done.failures == ()


def test_a_bench_that_changes_while_it_is_published_is_not_published(
    bench: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    whole = make.method_file

    def meanwhile(session: Any, site: Any) -> Any:
        with session_scope(bench) as other:
            record_change(other, "Ann", "changed", "trial", 3, "notes", "", "x")
        return whole(session, site)

    monkeypatch.setattr(make, "method_file", meanwhile)
    with pytest.raises(StoreProblem, match=r"The bench was changed while it was being published\. Nothing was pub"):
        publish(bench, tmp_path / "site", workers=1)
    assert not (tmp_path / "site").exists()

"""Addresses that were published stay: of a renamed unit, of one that was taken down, of a deleted trial."""

import re
from pathlib import Path

from sqlalchemy import Engine

from app.services.trials.trash import trash_trial, trash_unit
from app.storage.engine import session_scope
from app.storage.models.units_under_test import UnitUnderTest
from app.web.published.publish import publish


def _files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_renamed_unit_is_found_at_its_former_address(bench: Engine, tmp_path: Path):
    site = tmp_path / "site"
    publish(bench, site, workers=1)
    before = _files(site)
    with session_scope(bench) as session:
        session.get_one(UnitUnderTest, 1).model = "Model 2"
    done = publish(bench, site, workers=1)
    assert not done.failures
    after = _files(site)
    assert before.keys() - after.keys() == set()
    assert 'url=../../units/maker-a-model-2/index.html"' in after["units/maker-a-model-1/index.html"].decode()
    for place in ("units/{}/facts.json", "charts/{}-decay.svg", "data/{}-decay.csv"):
        former = place.format("maker-a-model-1")
        assert after[former] == after[former.replace("model-1", "model-2")], former
    assert b"Model 2" in after["units/maker-a-model-1/facts.json"]
    assert publish(bench, site, workers=1).is_new is False


def test_a_unit_that_was_taken_down_leaves_a_page_saying_so_and_nothing_else(bench: Engine, tmp_path: Path):
    site = tmp_path / "site"
    publish(bench, site, workers=1)
    before = _files(site)
    with session_scope(bench) as session:
        trash_unit(session, 1, who="Ann Example", why="the maker sent another unit")
    publish(bench, site, workers=1)
    after = _files(site)
    assert before.keys() - after.keys() == set()
    page = after["units/maker-a-model-1/index.html"].decode()
    assert "The unit maker-a-model-1 was taken down" in page
    assert "Reason: the maker sent another unit" in page
    assert "Trial 3 was taken down" in after["trials/3.html"].decode()
    facts, chart = "units/maker-a-model-1/facts.json", "charts/maker-a-model-1-decay.svg"
    for path in (facts, chart, "units/1.csv", "data/trial-3.csv"):
        assert b"was taken down on " in after[path], path
    named = {path for path, content in after.items() if b"Model 1" in content}
    of_edition = {f"editions/2/{name}" for name in ("index.html", "moved.csv", "moved.json")}
    assert named == {"changes.html", "feed.xml"} | of_edition
    # later editions leave it as it is
    with session_scope(bench) as session:
        trash_trial(session, 6, who="Ann Example", why="wrong room")
    publish(bench, site, workers=1)
    assert _files(site)["units/maker-a-model-1/index.html"].decode() == page


def test_every_link_of_every_edition_leads_somewhere(bench: Engine, tmp_path: Path):
    site = tmp_path / "site"
    publish(bench, site, workers=1)
    with session_scope(bench) as session:
        session.get_one(UnitUnderTest, 3).model = "Tried"
        trash_unit(session, 2, who="Ann Example", why="sold")
    publish(bench, site, workers=1)
    pages = sorted(site.rglob("*.html"))
    assert len(pages) > 10
    for page in pages:
        for link in re.findall(r'(?:href|src)="([^"#]+)', page.read_text()):
            assert (page.parent / link).resolve().is_file(), f"{page.relative_to(site)}: {link}"

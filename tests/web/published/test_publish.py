"""A published site: every link works, no page needs a script, and an unchanged bench rewrites nothing."""

import hashlib
import json
import re
import shutil
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit
from xml.etree import ElementTree

import pytest
from sqlalchemy import Engine, select

from app.command_line.main import run
from app.compute.clean_air.ozone import LIMITS
from app.errors import InvalidValue
from app.services.publishing.site_folder import MANIFEST
from app.services.publishing.unit_addresses import address_of, unit_addresses
from app.services.store.open import open_store
from app.services.trials.marks import exclude_trial
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench_measurements import OzoneTest
from app.web.published.publish import publish
from tests.conftest import told_to_command

ATOM = "{http://www.w3.org/2005/Atom}"


@pytest.fixture(scope="module")
def bench_folder(demo_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small demonstration bench with the edition that `site` holds."""
    folder = tmp_path_factory.mktemp("published_bench")
    shutil.copyfile(demo_site.parent / "bench.sqlite", folder / "bench.sqlite")
    return folder


@pytest.fixture(scope="module")
def bench(bench_folder: Path) -> Iterator[Engine]:
    engine = open_store(Settings(bench_folder))
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def site(demo_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shutil.copytree(demo_site, tmp_path_factory.mktemp("published") / "site")


class Links(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.ids: set[str] = set()
        self.tags: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name in ("href", "src") and value:
                self.links.append(value)
            if name == "id" and value:
                self.ids.add(value)


def _pages(site: Path) -> list[Path]:
    return sorted(site.rglob("*.html"))


def _stamps(folder: Path) -> dict[str, tuple[int, bytes]]:
    return {str(p): (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.rglob("*") if p.is_file()}


def test_every_link_is_relative_and_leads_to_a_file_of_the_site(site: Path):
    assert len(_pages(site)) > 20
    for page in _pages(site):
        for link in Links(page.read_text()).links:
            parts = urlsplit(link)
            assert not parts.scheme, link
            assert not link.startswith("/"), link
            if parts.path:
                target = (page.parent / unquote(parts.path)).resolve()
                assert target.is_file(), f"{page.name}: {link}"
                assert site.resolve() in target.parents


def test_no_page_needs_a_script_and_each_says_that_the_bench_is_invented(site: Path):
    for page in _pages(site):
        found = Links(page.read_text())
        known = re.findall(r'<script (?:type="application/(?:ld\+)?json"[^>]*|src="[^"]+" defer)>', page.read_text())
        assert found.tags.count("script") == len(known)
        assert "Demonstration with invented data" in page.read_text()
        assert "form" not in found.tags


def test_from_any_unit_two_clicks_lead_to_trial_raw_file_marks_empty_rooms_and_method(site: Path):
    ranking = Links((site / "index.html").read_text()).links
    units = [link for link in ranking if link.startswith("units/")]
    assert units
    for unit in units:
        trials = [link for link in Links((site / unit).read_text()).links if link.startswith("../../trials/")]
        for trial in trials:
            text = ((site / unit).parent / trial).resolve().read_text()
            raw = re.search(r'href="\.\./(raw/([0-9a-f]{64})[^"]*)"', text)
            assert raw, trial
            assert (site / raw[1]).is_file()
            assert raw[2] in re.sub(r"<[^>]+>", " ", text)  # the hash is shown as well
            assert "Unit on" in text
            assert "../method.html" in text
            if "unit running" in text:
                assert re.search(r"Empty-room runs</dt><dd><a href=\"\d+\.html\"", text)
    assert any(link.startswith("trials/") for link in ranking)


def test_each_fact_of_a_unit_leads_to_the_trials_that_it_rests_on(site: Path):
    for page in sorted((site / "units").glob("*/index.html")):
        sheet = page.read_text().split("measurements</caption>")[1].split("</table>")[0]
        named = re.findall(r"trials? ((?:<a [^>]*>\d+</a>(?:, | and )?)+)", sheet)
        bare = re.findall(r"trials? \d", sheet)
        assert (page.parent.name, bare) == (page.parent.name, [])
        for words in named:
            for address, number in re.findall(r'href="([^"]+)">(\d+)<', words):
                assert address == f"../../trials/{number}.html"


def test_the_same_bench_rewrites_nothing_and_makes_no_page(bench: Engine, site: Path, monkeypatch: pytest.MonkeyPatch):
    def made_again(*_: object) -> None:
        raise AssertionError("a page whose data did not change was made again")

    monkeypatch.setattr("app.web.published.make.make_one", made_again)
    before = _stamps(site)
    done = publish(bench, site, workers=1)
    assert not done.is_new
    assert done.folder.written == 0
    assert done.folder.unchanged == len(before) - 1  # the manifest is not a file of the edition
    after = _stamps(site)
    assert {Path(path).name for path in after if after[path][0] != before[path][0]} <= {MANIFEST}
    assert {path: content for path, (_, content) in after.items()} == {p: content for p, (_, content) in before.items()}


def test_pictures_parse_and_stand_at_addresses_without_a_hash(site: Path):
    pictures = sorted(site.glob("charts/*.svg"))
    assert len(pictures) > 8
    for picture in pictures:
        assert not re.search(r"[0-9a-f]{16}", picture.name)
        assert ElementTree.fromstring(picture.read_bytes()).tag == "{http://www.w3.org/2000/svg}svg"


def test_the_numbers_are_there_as_csv_and_json(site: Path):
    ranking = json.loads((site / "data/ranking.json").read_text())
    lines = (site / "data/ranking.csv").read_text().splitlines()
    assert len(ranking["ranking"]) == ranking["total_lines"] == len(lines) - 1
    unit = ranking["ranking"][0]["unit_id"]
    address = address_of(ranking["ranking"][0]["maker"], ranking["ranking"][0]["model"])
    facts = json.loads((site / f"units/{address}/facts.json").read_text())
    assert facts["invented"] is True
    assert facts["facts"]
    assert (site / f"units/{address}/facts.csv").read_text().startswith("quantity,")
    for ending in ("csv", "json"):  # the address of a version before editions
        former = (site / f"units/{unit}.{ending}").read_bytes()
        assert former == (site / f"units/{address}/facts.{ending}").read_bytes()
    assert f'url=../units/{address}/index.html"' in (site / f"units/{unit}.html").read_text()


def test_the_feed_follows_atom_and_names_nobody(site: Path):
    """Atom: RFC 4287 (from memory): a feed and each entry need id, title and updated; a feed without an author in
    each entry needs one of its own."""
    feed = ElementTree.fromstring((site / "feed.xml").read_bytes())
    assert feed.tag == f"{ATOM}feed"
    for one in (feed, *feed.findall(f"{ATOM}entry")):
        for name in ("id", "title", "updated"):
            assert (one.findtext(f"{ATOM}{name}") or "").strip(), name
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", one.findtext(f"{ATOM}updated") or "")
    assert feed.findtext(f"{ATOM}author/{ATOM}name")
    ids = [entry.findtext(f"{ATOM}id") for entry in feed.findall(f"{ATOM}entry")]
    assert len(set(ids)) == len(ids) > 3


def test_an_address_that_is_none_is_refused(bench: Engine, tmp_path: Path):
    with pytest.raises(InvalidValue, match=r"The address is 'bench'; it must start with https:// or http://\."):
        publish(bench, tmp_path, base_url="bench")


def test_an_exclusion_changes_its_pages_alone_and_is_told(bench_folder: Path, site: Path, tmp_path: Path):
    shutil.copyfile(bench_folder / "bench.sqlite", tmp_path / "bench.sqlite")
    out = shutil.copytree(site, tmp_path / "out")
    engine = open_store(Settings(tmp_path))
    before = _stamps(out)
    with session_scope(engine) as session:
        exclude_trial(session, 5, who="Ann Example", why="the door stood open")
    done = publish(engine, out, workers=1)
    after = _stamps(out)
    engine.dispose()
    assert 0 < done.folder.written < len(after) / 2
    changed = {Path(name).name for name in after if before.get(name, (0, b""))[1] != after[name][1]}
    assert {"5.html", "changes.html", "feed.xml", MANIFEST} <= changed
    assert "method.html" not in changed
    assert "the door stood open" in (out / "changes.html").read_text()
    assert not [name for name, (_, content) in after.items() if b"Ann Example" in content]


def test_the_command_publishes_with_several_processes_and_says_what_it_did(
    demo_settings: Settings, site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch
):
    """Another bench with the same data: only the day of the edition differs."""
    monkeypatch.setattr("app.web.published.make._FEW", 1)  # also for so small a bench
    command = ["publish", str(tmp_path / "out"), *told_to_command(demo_settings), "--workers", "2"]
    assert run(command) == 0
    told = capsys.readouterr().out
    assert re.search(r"out: \d+ files written, 0 unchanged, in [\d.]+ s", told)
    digest = hashlib.sha256((tmp_path / "out" / MANIFEST).read_bytes()).hexdigest()
    words = rf"Edition 1 of \S+: \d+ published numbers, the first\. Digest \(SHA-256 of edition\.json\): {digest}"
    assert re.search(words, told)
    assert re.search(r"Freezing it added \d+ files with [\d,]+ bytes to the store\.", told)
    both = [{p.relative_to(f): p.read_bytes() for p in f.rglob("*") if p.is_file()} for f in (site, tmp_path / "out")]
    differing = {path.as_posix() for path in both[0] if both[0][path] != both[1][path]}
    assert differing <= {MANIFEST, "feed.xml"} | {name for name in differing if name.endswith(".html")}
    assert both[0].keys() == both[1].keys()
    assert run(command) == 0
    assert "Nothing has changed since edition 1 of " in capsys.readouterr().out


def test_an_ozone_value_stands_with_the_public_limits_and_how_each_is_known(bench: Engine, site: Path):
    """The three limits with their standing, as the unit page of the bench has them."""
    with session_scope(bench, writes=False) as session:
        tested = session.scalars(select(OzoneTest.unit_under_test_id).distinct()).all()
        addresses = unit_addresses(session).current
    assert tested
    for unit_id in tested:
        address = addresses[unit_id]
        text = (site / "units" / address / "index.html").read_text().replace("&nbsp;", "\u00a0")
        assert "Tested on " in text
        for limit in LIMITS:
            known = limit.caution or limit.standing
            words = f"{limit.value:g}\u00a0ppb for {limit.name}, {limit.body}, {limit.document} ({known})"
            assert f"Public limit: {words}" in text

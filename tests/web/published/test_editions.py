"""Five editions with known changes: every number accounted for, and each edition made again byte for byte."""

import json
import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import select

from app.command_line.main import run
from app.errors import AlreadyStored, NotFound, StoreProblem
from app.services.publishing.editions import content_of
from app.services.publishing.numbers.moved import GONE, MOVED, NEW
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench import Change
from app.storage.models.reviews import EditionContent
from app.web.published.publish import publish, publish_again
from tests.web.published.editions_made import CORRECTED, EXCLUDED, NEW_TRIAL, STRONG, Made


def _files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_each_is_numbered_and_dated(five: Made):
    assert [(one.edition, one.day, one.is_new) for one in five.published] == [
        (n, f"2026-0{3 + n}-01", True) for n in range(1, 6)
    ]
    assert len({one.digest for one in five.published}) == 5
    assert all(not one.failures for one in five.published)


@pytest.mark.parametrize("edition", [2, 3, 4, 5])
def test_every_number_that_differs_is_listed_and_no_other(five: Made, edition: int):
    """What the edition before published, with the listed moves applied, is what this one publishes."""
    before, after, moved = five.numbers(edition - 1), five.numbers(edition), five.moved(edition)
    assert moved
    applied = {key: number.measured for key, number in before.items()}
    for one in moved:
        assert one.measured_before == applied.get(one.key)
        assert one.measured_before != one.measured_after
        assert one.before != one.after, f"{one.words} reads the same before and after"
        if one.kind == GONE:
            del applied[one.key]
        else:
            applied[one.key] = one.measured_after
        assert one.kind == (NEW if one.key not in before else GONE if one.key not in after else MOVED)
    assert applied == {key: number.measured for key, number in after.items()}
    assert five.published[edition - 1].moved == len(moved)


def test_a_further_trial_is_the_reason(five: Made):
    moved = five.moved(2)
    rate = next(one for one in moved if one.key == "unit/1/setting/2/clean_air_delivery_rate")
    assert f"new trial {NEW_TRIAL}" in rate.why
    assert {one.why for one in moved if one.trial_id == NEW_TRIAL} == {f"new trial {NEW_TRIAL}"}
    assert [one.words for one in moved if str(NEW_TRIAL) not in one.why] == []


def test_a_price_and_a_sound_reading_move_their_numbers_alone(five: Made):
    why = {one.key: one.why for one in five.moved(3)}
    assert why == {
        "unit/1/price": "price of 2026-05-03, a shop",
        "unit/1/cost_over_years": "price of 2026-05-03, a shop",
        "unit/1/setting/2/sound": "new sound reading 1 of 2026-05-04",
    }


def test_an_exclusion_is_the_reason_with_its_words(five: Made):
    moved = [one for one in five.moved(4) if one.unit_id == 2 and one.trial_id is None]
    assert moved
    assert all(f"trial {EXCLUDED} excluded: the door stood open" in one.why for one in moved)


def test_a_corrected_mark_is_the_reason(five: Made):
    moved, words = five.moved(5), f"correction of trial {CORRECTED}: the mark “unit on” [min]"
    assert all(words in one.why for one in moved if one.unit_id == STRONG)
    assert any(one.trial_id == CORRECTED for one in moved)


def test_readers_see_what_moved_on_the_changes_page_in_the_feed_and_beside_the_number(five: Made):
    second = five.folders[1]
    rate = next(one for one in five.moved(2) if one.key == "unit/1/setting/2/clean_air_delivery_rate")
    changes, feed = (second / "changes.html").read_text(), (second / "feed.xml").read_text()
    unit, ranking = (second / "units/maker-a-model-1/index.html").read_text(), (second / "index.html").read_text()
    for text in (changes, (second / "editions/2/index.html").read_text()):
        row = next(row for row in text.split("<tr>") if "high: Clean air delivery rate" in row)
        assert rate.before in row
        assert rate.after in row
        assert f"new trial {NEW_TRIAL}" in row
    assert f"new trial {NEW_TRIAL}" in feed
    assert "Edition 2: " in feed
    for text in (unit, ranking):
        assert f">was {rate.before}</a>" in text
    assert ">was " not in (five.folders[0] / "index.html").read_text()
    # in a later edition the mark still tells of the last move
    assert f">was {rate.before}</a>" in (five.folders[2] / "index.html").read_text()


def test_nothing_changed_makes_no_new_edition(five: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    five_again = shutil.copytree(five.site, tmp_path / "site")
    before = _files(five_again)
    assert run(["publish", str(five_again), "--data", str(Path(five.engine.url.database or "").parent)]) == 0
    told = capsys.readouterr().out
    assert "Nothing has changed since edition 5 of 2026-08-01, so there is no new edition. " in told
    assert f"Digest (SHA-256 of edition.json): {five.published[4].digest}" in told
    assert _files(five_again) == before


def test_pages_taken_over_from_edition_to_edition_are_as_if_made_anew(five: Made, tmp_path: Path):
    """Without the digests of what the pages were made from, every one is made, and the edition is the same."""
    with (
        closing(sqlite3.connect(five.engine.url.database or "")) as bench,
        closing(sqlite3.connect(tmp_path / "bench.sqlite")) as copy,
    ):
        bench.backup(copy)
        assert copy.execute("UPDATE editions SET made_from = '{}'").rowcount == 5
        copy.commit()
    engine = open_store(Settings(tmp_path))
    done = publish(engine, tmp_path / "site", workers=1)
    engine.dispose()
    assert (done.edition, done.is_new, done.digest) == (5, False, five.published[4].digest)


@pytest.mark.parametrize("edition", [1, 2, 3, 4, 5])
def test_an_edition_is_made_again_byte_for_byte(five: Made, tmp_path: Path, edition: int):
    done = publish_again(five.engine, tmp_path / "again", edition)
    assert _files(tmp_path / "again") == _files(five.folders[edition - 1])
    assert done.digest == five.published[edition - 1].digest


def test_a_bench_that_does_not_know_the_edition_in_the_folder_leaves_it(five: Made, tmp_path: Path):
    """Another bench, or this one after the restore of an older backup."""
    folder = shutil.copytree(five.site, tmp_path / "site")
    before = _files(folder)
    engine = open_store(Settings(tmp_path / "other"))
    with pytest.raises(AlreadyStored, match="holds an edition that is not in the store"):
        publish(engine, folder)
    engine.dispose()
    assert _files(folder) == before
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("site")] == ["site"]


def test_an_earlier_edition_does_not_replace_a_later_one(five: Made, tmp_path: Path):
    folder = shutil.copytree(five.site, tmp_path / "site")
    with pytest.raises(AlreadyStored, match="holds another edition, whose addresses would be lost"):
        publish_again(five.engine, folder, 2)
    assert _files(folder) == _files(five.site)
    with pytest.raises(NotFound, match="There is no edition 9 in this bench"):
        publish_again(five.engine, tmp_path / "none", 9)


def test_an_edition_can_be_pinned_inside_the_site_for_embeds_that_must_not_move(
    five: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """An embed by the address of the site shows the newest edition, one below the pinned folder its own."""
    site = shutil.copytree(five.site, tmp_path / "site")
    publish_again(five.engine, site / "pinned" / "1", 1)
    publish(five.engine, site, workers=1)
    chart = "charts/maker-a-model-1-decay.svg"
    first, newest = ((five.folders[place] / chart).read_bytes() for place in (0, 4))
    assert first != newest
    assert ((site / "pinned" / "1" / chart).read_bytes(), (site / chart).read_bytes()) == (first, newest)
    assert _files(site / "pinned" / "1") == _files(five.folders[0])
    data = ["--data", str(Path(five.engine.url.database or "").parent)]
    assert run(["check", str(site), *data]) == 0
    told = capsys.readouterr().out
    assert told.count("pinned/1/") == 1
    assert "note: pinned/1/ contains its own edition; check it separately." in told
    assert run(["check", str(site / "pinned" / "1"), *data]) == 0


def test_only_new_content_is_frozen_and_raw_logs_are_not_stored_twice(five: Made):
    manifest = json.loads((five.folders[0] / "edition.json").read_text())
    raw = {sha256 for path, sha256 in manifest["files"].items() if path.startswith("raw/")}
    assert raw
    with session_scope(five.engine, writes=False) as session:
        frozen = set(session.scalars(select(EditionContent.sha256)))
        assert not raw & frozen
        published = session.scalars(select(Change).where(Change.subject == "edition").order_by(Change.id)).all()
    assert {change.action for change in published} == {"published"}
    assert [change.after for change in published] == [one.digest for one in five.published]
    later = [one.frozen.bytes for one in five.published[1:]]
    assert max(later) < five.published[0].frozen.bytes


def test_a_content_that_was_altered_in_the_store_is_noticed(five: Made, tmp_path: Path):
    with (
        session_scope(five.engine, writes=False) as session,
        pytest.raises(StoreProblem, match=r"The published file 000000000000… is no longer in the store"),
    ):
        content_of(session, "0" * 64)


def test_addresses_outlive_all_editions(five: Made):
    """Every address of the first edition is there in each later one."""
    first = set(_files(five.folders[0])) - {"edition.json"}
    for folder in five.folders[1:]:
        assert first - set(_files(folder)) == set()


def test_entries_of_the_feed_keep_their_identity_whatever_the_url(five: Made, tmp_path: Path):
    def ids(text: str) -> set[str]:
        return set(re.findall(r"<id>([^<]+)</id>", text))

    with (
        closing(sqlite3.connect(five.engine.url.database or "")) as bench,
        closing(sqlite3.connect(tmp_path / "bench.sqlite")) as copy,
    ):
        bench.backup(copy)
    engine = open_store(Settings(tmp_path))
    publish(engine, tmp_path / "site", workers=1, base_url="https://bench.example/air")
    engine.dispose()
    feed = (tmp_path / "site/feed.xml").read_text()
    assert ids((five.site / "feed.xml").read_text()) == ids(feed)
    assert "https://bench.example/air/editions/2/" in feed

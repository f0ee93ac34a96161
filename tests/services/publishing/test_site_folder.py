"""The folder of a published site: what is unchanged is left alone, and only what was written here is removed."""

import json
from pathlib import Path

import pytest

from app.errors import AlreadyStored, StoreProblem
from app.services.publishing.site_folder import MANIFEST, SiteFolder, SiteWritten


def _write(folder: Path, files: dict[str, bytes]) -> SiteWritten:
    site = SiteFolder(folder)
    for path, content in files.items():
        site.put(path, content)
    return site.finish()


def _stamps(folder: Path) -> dict[str, tuple[int, bytes]]:
    return {str(p): (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.rglob("*") if p.is_file()}


def test_unchanged_files_are_not_written_again(tmp_path: Path):
    files = {"index.html": b"one", "units/1.html": b"two"}
    assert _write(tmp_path, files) == SiteWritten(2, 0, 0, ())
    before = _stamps(tmp_path)
    assert _write(tmp_path, files) == SiteWritten(0, 2, 0, ())
    assert _stamps(tmp_path) == before


def test_only_the_changed_file_is_written(tmp_path: Path):
    _write(tmp_path, {"index.html": b"one", "a.html": b"two"})
    before = _stamps(tmp_path)
    assert _write(tmp_path, {"index.html": b"one", "a.html": b"three"}) == SiteWritten(1, 1, 0, ())
    after = _stamps(tmp_path)
    assert after[str(tmp_path / "index.html")] == before[str(tmp_path / "index.html")]
    assert (tmp_path / "a.html").read_bytes() == b"three"


def test_pages_that_are_gone_are_removed_with_their_empty_folder_and_foreign_files_stay(tmp_path: Path):
    _write(tmp_path, {"index.html": b"one", "units/1.html": b"two", "units/2.html": b"three", "old/a.html": b"x"})
    (tmp_path / "mine.txt").write_text("not ours")
    (tmp_path / "units/2.html").write_text("changed by other hands")
    assert _write(tmp_path, {"index.html": b"one"}) == SiteWritten(0, 1, 2, ("units/2.html",))
    assert (tmp_path / "mine.txt").is_file()
    assert (tmp_path / "units/2.html").is_file()
    assert not (tmp_path / "units/1.html").exists()
    assert not (tmp_path / "old").exists()


def test_a_file_of_other_hands_is_never_overwritten(tmp_path: Path):
    (tmp_path / "index.html").write_text("mine")
    with pytest.raises(AlreadyStored, match=r"index\.html already exists and was not written by this program"):
        _write(tmp_path, {"index.html": b"ours"})
    assert (tmp_path / "index.html").read_text() == "mine"


def test_a_kept_file_has_to_stand_there_unchanged(tmp_path: Path):
    _write(tmp_path, {"a.svg": b"one"})
    assert SiteFolder(tmp_path).holds("a.svg")
    (tmp_path / "a.svg").write_bytes(b"two")
    assert not SiteFolder(tmp_path).holds("a.svg")
    assert not SiteFolder(tmp_path).holds("b.svg")


@pytest.mark.parametrize("path", ["/etc/a", "../a", "a/../../b"])
def test_no_path_leads_out_of_the_folder(tmp_path: Path, path: str):
    with pytest.raises(ValueError, match="needs a path of its own inside the folder"):
        SiteFolder(tmp_path).put(path, b"x")


def test_a_path_is_written_once(tmp_path: Path):
    site = SiteFolder(tmp_path)
    site.put("a", b"x")
    with pytest.raises(ValueError, match="needs a path of its own inside the folder"):
        site.put("a", b"y")


def test_a_damaged_manifest_and_a_folder_that_is_a_file_are_told(tmp_path: Path):
    (tmp_path / MANIFEST).write_text(json.dumps([1]))
    with pytest.raises(StoreProblem, match="is damaged, so the published files in the folder cannot be identified"):
        SiteFolder(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreProblem, match=r"The folder .*file cannot be written: .* Choose another folder\."):
        SiteFolder(tmp_path / "file")


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path):
    site = SiteFolder(tmp_path)
    (tmp_path / "units").write_text("a file where a folder is needed")
    with pytest.raises(StoreProblem, match=r"cannot be written: .* Make room or choose another folder\."):
        site.put("units/1.html", b"x")

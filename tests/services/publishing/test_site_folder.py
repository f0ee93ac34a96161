"""The folder of a published site: written beside and swapped in; files of others stay."""

import json
from pathlib import Path

import pytest

from app.errors import AlreadyStored, StoreProblem
from app.services.publishing.site_folder import MANIFEST, SiteFolder, SiteWritten


def _write(folder: Path, files: dict[str, bytes]) -> SiteWritten:
    site = SiteFolder(folder)
    for path, content in files.items():
        site.put(path, content)
    site.add_beside(MANIFEST, json.dumps({"files": site.files}).encode())
    return site.swap()


def _stamps(folder: Path) -> dict[str, tuple[int, bytes]]:
    return {str(p): (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.rglob("*") if p.is_file()}


def test_unchanged_files_are_taken_over_with_their_date(tmp_path: Path):
    files = {"index.html": b"one", "units/1.html": b"two"}
    assert _write(tmp_path / "site", files) == SiteWritten(2, 0, ())
    before = _stamps(tmp_path / "site")
    assert _write(tmp_path / "site", files) == SiteWritten(0, 2, ())
    after = _stamps(tmp_path / "site")
    assert {p: s for p, s in after.items() if MANIFEST not in p} == {
        p: s for p, s in before.items() if MANIFEST not in p
    }


def test_only_the_changed_file_is_written(tmp_path: Path):
    _write(tmp_path / "site", {"index.html": b"one", "a.html": b"two"})
    before = _stamps(tmp_path / "site")
    assert _write(tmp_path / "site", {"index.html": b"one", "a.html": b"three"}) == SiteWritten(1, 1, ())
    after, index = _stamps(tmp_path / "site"), str(tmp_path / "site" / "index.html")
    assert after[index] == before[index]
    assert (tmp_path / "site" / "a.html").read_bytes() == b"three"


def test_readers_see_the_former_site_until_the_new_one_is_whole(tmp_path: Path):
    folder = tmp_path / "site"
    _write(folder, {"index.html": b"one", "a.html": b"two"})
    before = _stamps(folder)
    site = SiteFolder(folder)
    site.put("index.html", b"new")
    assert _stamps(folder) == before
    site.discard()
    assert _stamps(folder) == before
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_a_stop_between_the_two_renames_is_mended_by_the_next_run(tmp_path: Path):
    folder = tmp_path / "site"
    _write(folder, {"index.html": b"one"})
    before = _stamps(folder)
    folder.rename(tmp_path / ".site.hazefall-replaced")
    (tmp_path / ".site.hazefall-unfinished").mkdir()
    SiteFolder(folder).discard()
    assert _stamps(folder) == before


def test_folders_of_other_people_beside_the_site_stay(tmp_path: Path):
    """Such as a copy that somebody made before publishing."""
    for name in ("site.replaced", "site.unfinished"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "mine.txt").write_text("not ours")
    _write(tmp_path / "site", {"index.html": b"one"})
    _write(tmp_path / "site", {"index.html": b"two"})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["site", "site.replaced", "site.unfinished"]
    assert (tmp_path / "site.replaced" / "mine.txt").exists()


def test_no_file_that_was_there_is_removed(tmp_path: Path):
    folder = tmp_path / "site"
    _write(folder, {"index.html": b"one", "units/1.html": b"two", "units/2.html": b"three"})
    (folder / "mine.txt").write_text("not ours")
    (folder / "units/2.html").write_text("changed by other hands")
    assert _write(folder, {"index.html": b"one"}) == SiteWritten(0, 1, ("units/2.html",))
    found = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    found.pop(MANIFEST)
    assert found == {
        "index.html": b"one",
        "units/1.html": b"two",
        "units/2.html": b"changed by other hands",
        "mine.txt": b"not ours",
    }


def test_files_of_a_version_before_editions_are_known(tmp_path: Path):
    folder = tmp_path / "site"
    _write(folder, {"index.html": b"one"})
    (folder / MANIFEST).rename(folder / "site-manifest.json")
    assert _write(folder, {"index.html": b"two"}) == SiteWritten(1, 0, ())
    assert not (folder / "site-manifest.json").exists()


@pytest.mark.parametrize(("mine", "ours"), [("index.html", "index.html"), ("units", "units/a/index.html")])
def test_a_file_of_other_hands_is_never_overwritten(tmp_path: Path, mine: str, ours: str):
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / mine).write_text("mine")
    with pytest.raises(AlreadyStored, match=rf"{mine} already exists and was not written by this program"):
        _write(folder, {ours: b"ours"})
    assert (folder / mine).read_text() == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_a_file_is_taken_over_only_where_it_is_there_unchanged(tmp_path: Path):
    _write(tmp_path / "site", {"a.svg": b"one"})
    known = json.loads((tmp_path / "site" / MANIFEST).read_text())["files"]["a.svg"]
    (tmp_path / "site" / "a.svg").write_bytes(b"two")
    site = SiteFolder(tmp_path / "site")
    assert not site.takes_over("a.svg", known)
    assert not site.takes_over("b.svg", known)


@pytest.mark.parametrize("path", ["/etc/a", "../a", "a/../../b"])
def test_no_path_leads_out_of_the_folder(tmp_path: Path, path: str):
    with pytest.raises(ValueError, match="needs a path of its own inside the folder"):
        SiteFolder(tmp_path / "site").put(path, b"x")


def test_a_path_is_written_once(tmp_path: Path):
    site = SiteFolder(tmp_path / "site")
    site.put("a", b"x")
    with pytest.raises(ValueError, match="needs a path of its own inside the folder"):
        site.put("a", b"y")


def test_a_damaged_manifest_and_a_folder_that_is_a_file_are_told(tmp_path: Path):
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / MANIFEST).write_text(json.dumps([1]))
    with pytest.raises(StoreProblem, match="is damaged, so the published files in the folder cannot be identified"):
        SiteFolder(tmp_path / "site")
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreProblem, match=r"file is a file; the site needs a folder\. Choose another name\."):
        SiteFolder(tmp_path / "file")


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreProblem, match=r"cannot be written: .*Choose another folder\."):
        SiteFolder(tmp_path / "file" / "site")
    site = SiteFolder(tmp_path / "site")
    site.put("a", b"a file where a folder is needed")
    with pytest.raises(StoreProblem, match=r"cannot be written: .* Make room or choose another folder\."):
        site.put("a/b", b"x")


def test_a_folder_that_cannot_be_replaced_stays_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    folder = tmp_path / "site"
    _write(folder, {"index.html": b"one"})
    before, rename = _stamps(folder), Path.rename

    def refused(self: Path, target: Path) -> Path:
        if self.name == ".site.hazefall-unfinished":
            raise PermissionError(13, "Permission denied")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", refused)
    with pytest.raises(StoreProblem, match=r"in place of .*site: Permission denied\. The folder is as it was"):
        _write(folder, {"index.html": b"two"})
    assert _stamps(folder) == before

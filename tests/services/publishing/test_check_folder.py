"""The check of a published folder: what was altered is named, also where it was hashed again."""

import hashlib
import json
import shutil
from pathlib import Path

import pytest

from app.errors import InvalidValue
from app.services.publishing.check_folder import PublishedEdition, check_folder
from app.services.publishing.compressed_copies import compressors
from app.services.publishing.editions import NUMBERS, Manifest, read_manifest
from app.services.publishing.numbers.published_number import PublishedNumber, by_key, numbers_file
from app.services.publishing.site_folder import MANIFEST

SOUND = PublishedNumber(
    "unit/1/setting/2/sound", 1, None, "Maker A Model 1", "high", "Sound at 1 m", "dB(A)", 48.0, 0.8, 46.4, 49.6
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A published folder of two files."""
    files = {NUMBERS: numbers_file([SOUND]), "index.html": b"<p>48 dB(A)</p>"}
    for path, content in files.items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_bytes(content)
    hashes = {path: hashlib.sha256(content).hexdigest() for path, content in files.items()}
    manifest = Manifest(3, "2026-05-03T09:00:00Z", "Bench", False, "2", "1", "", "", hashes[NUMBERS], hashes)
    (tmp_path / MANIFEST).write_bytes(manifest.content)
    return tmp_path


@pytest.fixture
def published(folder: Path) -> PublishedEdition:
    return PublishedEdition(read_manifest((folder / MANIFEST).read_bytes()), by_key([SOUND]))


def _words(folder: Path, **of: object) -> list[str]:
    return [finding.message for finding in check_folder(folder, **of).findings if finding.wrong]  # type: ignore[arg-type]


def test_a_folder_as_published_is_sound_and_the_check_says_what_it_was_compared_with(
    folder: Path, published: PublishedEdition
):
    checked = check_folder(folder)
    assert (checked.sound, checked.edition, checked.files, checked.compared_with) == (True, 3, 2, ())
    digest = hashlib.sha256((folder / MANIFEST).read_bytes()).hexdigest()
    checked = check_folder(folder, published=published, digest=digest.upper())
    assert checked.sound
    assert checked.compared_with == ("the edition in the store", "the given digest")


def test_an_altered_a_missing_and_an_added_file_are_named(folder: Path):
    (folder / "index.html").write_text("<p>38 dB(A)</p>")
    (folder / NUMBERS).unlink()
    (folder / "mine.txt").write_text("x")
    checked = check_folder(folder)
    assert [(one.wrong, one.message) for one in checked.findings] == [
        (True, f"{NUMBERS} is missing."),
        (True, "index.html was altered."),
        (False, "mine.txt is not part of the edition."),
    ]


def test_a_sound_level_lowered_and_hashed_again_is_caught_by_the_digest_in_the_store(
    folder: Path, published: PublishedEdition
):
    lowered = SOUND.__class__(**{**{n: getattr(SOUND, n) for n in SOUND.__slots__}, "value": 38.0})
    (folder / NUMBERS).write_bytes(numbers_file([lowered]))
    (folder / "index.html").write_text("<p>38 dB(A)</p>")
    told = json.loads((folder / MANIFEST).read_text())
    told["files"] = {path: hashlib.sha256((folder / path).read_bytes()).hexdigest() for path in told["files"]}
    (folder / MANIFEST).write_text(json.dumps(told))
    assert _words(folder) == []  # by itself the folder looks sound
    words = _words(folder, published=published)
    assert words[0].startswith("edition.json has the digest ")
    sound = "Sound at 1 m: 38.0 (46.4 to 49.6) in the folder, 48.0 (46.4 to 49.6) dB(A) as published."
    assert f"Maker A Model 1, high: {sound}" in words
    assert {f"{NUMBERS} was altered.", "index.html was altered."} <= set(words)
    by_digest = _words(folder, digest=published.manifest.digest)
    assert by_digest[0].endswith("The folder is not the edition that was published.")


def test_an_edition_that_the_store_does_not_have_is_told(folder: Path):
    assert _words(folder, store_asked=True) == ["The store has no edition 3, so the folder was not published from it."]


@pytest.mark.parametrize("ending", [".gz", ".br"])
def test_a_compressed_copy_has_to_hold_its_file(folder: Path, ending: str):
    compress, whole = compressors()[ending], (folder / "index.html").read_bytes()
    copy = folder / f"index.html{ending}"
    copy.write_bytes(compress(whole))
    assert compress(whole) == copy.read_bytes()
    assert len(compress(100 * whole)) < 100 * len(whole) / 2
    assert check_folder(folder).findings == ()
    copy.write_bytes(compress(b"another"))
    assert _words(folder) == [f"index.html{ending} is not a copy of index.html."]
    copy.write_bytes(b"nonsense")
    assert _words(folder) == [f"index.html{ending} cannot be unpacked."]


def test_a_folder_without_an_edition_is_told(folder: Path, tmp_path_factory: pytest.TempPathFactory):
    other = shutil.copytree(folder, tmp_path_factory.mktemp("other") / "x")
    (other / MANIFEST).write_text('{"files": {}}')
    with pytest.raises(InvalidValue, match=r"edition\.json is damaged\. This is not the manifest of an edition"):
        check_folder(other)
    (other / MANIFEST).unlink()
    with pytest.raises(InvalidValue, match=r"holds no edition\.json, so it is not a published edition"):
        check_folder(other)

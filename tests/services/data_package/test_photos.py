"""Photos for readers are in the package, without hidden data; all others stay at the desk."""

import csv
import io
import zipfile
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import Engine

from app.services.data_package.check import check_package
from app.services.data_package.write import write_package_file
from app.services.units.attachments.attach import Evidence, attach
from app.services.units.attachments.definitions import NewAttachment
from app.storage.engine import session_scope
from tests.conftest import SmallBench
from tests.sample_data.photos import DOCUMENT, photo


@pytest.fixture
def package(store: Engine, small_bench: SmallBench, tmp_path: Path) -> Path:
    unit = Evidence(unit_id=small_bench.unit_id)
    label = NewAttachment(shows="label", caption="=rated 40 W", for_readers=True)
    with session_scope(store) as session:
        attach(session, unit, photo(place=True), "home.jpg", label)
        attach(session, unit, photo(width=50), "mine.jpg", NewAttachment(shows="unit"))
        attach(session, unit, DOCUMENT, "bill.pdf", NewAttachment(shows="receipt"))
        write_package_file(session, tmp_path / "package.zip")
    return tmp_path / "package.zip"


def test_only_photos_for_readers_leave_the_desk(package: Path):
    with zipfile.ZipFile(package) as opened:
        assert [name for name in opened.namelist() if name.startswith("photos/")] == ["photos/1.jpg"]
        with Image.open(io.BytesIO(opened.read("photos/1.jpg"))) as copy:
            assert copy.size == (40, 30)
            assert dict(copy.getexif()) == {}
        rows = list(csv.DictReader(io.StringIO(opened.read("data/photos.csv").decode())))
        assert [(row["shows"], row["caption"], row["path"]) for row in rows] == [
            ("label", "'=rated 40 W", "photos/1.jpg")
        ]
        assert not any(b"home.jpg" in opened.read(name) for name in opened.namelist() if name != "data/changes.csv")


def test_a_photo_that_was_changed_is_found(package: Path, tmp_path: Path):
    assert check_package(package).sound
    changed = tmp_path / "changed.zip"
    with zipfile.ZipFile(package) as opened, zipfile.ZipFile(changed, "w") as other:
        for name in opened.namelist():
            content = opened.read(name)
            other.writestr(name, content + b"\x00" if name == "photos/1.jpg" else content)
    assert any("photos/1.jpg" in str(each) for each in check_package(changed).findings)

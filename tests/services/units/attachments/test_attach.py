"""Photos and documents are stored byte for byte, belong to one thing, and every change is recorded."""

from datetime import date

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.measurements.sound_levels import delete_sound_measurement
from app.services.units.attachments.attach import (
    Evidence,
    attach,
    attachment_bytes,
    attachment_picture,
    attachments_of_trial,
    attachments_of_unit,
    detach,
    get_attachment,
)
from app.services.units.attachments.definitions import NewAttachment
from app.storage.models.bench import Change
from app.storage.models.bench_measurements import SoundMeasurement
from app.storage.models.logs import RawFile
from tests.conftest import SmallBench
from tests.sample_data.measured_facts import add_sound
from tests.sample_data.photos import DOCUMENT, photo

PHOTO = photo(taken_at="2026:02:03 10:00:00", place=True)
METER = NewAttachment(shows="meter display", caption="51.4 dB(A)")


@pytest.fixture
def unit(small_bench: SmallBench) -> Evidence:
    return Evidence(unit_id=small_bench.unit_id)


def test_a_photo_comes_back_byte_for_byte(session: Session, unit: Evidence):
    row = get_attachment(session, attach(session, unit, PHOTO, "meter.jpg", METER, who="Ann"))
    assert attachment_bytes(session, row) == PHOTO
    assert (row.kind, row.media_type, row.shows, row.caption) == ("photo", "image/jpeg", "meter display", "51.4 dB(A)")
    assert row.taken_on == date(2026, 2, 3)  # the photo's own date, as none was given
    assert b"Exif" not in attachment_picture(session, row, "small")
    change = session.scalars(select(Change).order_by(Change.id.desc())).first()
    assert change is not None
    assert (change.who, change.action, change.field) == ("Ann", "added", "attachment")
    assert change.after == "meter display, meter.jpg, “51.4 dB(A)”"


def test_a_date_given_by_hand_is_kept(session: Session, unit: Evidence):
    new = NewAttachment(taken_on=date(2026, 1, 1))
    assert get_attachment(session, attach(session, unit, PHOTO, "a.jpg", new)).taken_on == date(2026, 1, 1)


def test_a_camera_with_a_wrong_clock_gives_no_date(session: Session, unit: Evidence):
    wrong = photo(taken_at="2099:01:01 00:00:00")
    assert get_attachment(session, attach(session, unit, wrong, "a.jpg", METER)).taken_on is None


def test_one_file_is_attached_once_to_one_thing(session: Session, small_bench: SmallBench, unit: Evidence):
    attach(session, unit, PHOTO, "a.jpg", METER)
    with pytest.raises(AlreadyStored, match=r"^b.jpg is already attached here"):
        attach(session, unit, PHOTO, "b.jpg", METER)
    add_sound(session, small_bench.unit_id, small_bench.high_setting_id, 50.0)
    level = session.scalars(select(SoundMeasurement)).one()
    attach(session, Evidence(unit_id=small_bench.unit_id, sound_measurement_id=level.id), PHOTO, "a.jpg", METER)
    assert len(attachments_of_unit(session, small_bench.unit_id)) == 2
    assert len(session.scalars(select(RawFile.sha256)).all()) == 1


def test_the_photo_of_a_deleted_level_stays_with_the_unit(session: Session, small_bench: SmallBench):
    add_sound(session, small_bench.unit_id, small_bench.high_setting_id, 50.0)
    level = session.scalars(select(SoundMeasurement)).one()
    belongs_to = Evidence(unit_id=small_bench.unit_id, sound_measurement_id=level.id)
    attachment_id = attach(session, belongs_to, PHOTO, "a.jpg", METER)
    delete_sound_measurement(session, level.id, why="wrong distance")
    session.expire_all()
    assert get_attachment(session, attachment_id).sound_measurement_id is None


def test_a_removed_file_stays_in_the_store(session: Session, unit: Evidence):
    attachment_id = attach(session, unit, DOCUMENT, "receipt.pdf", NewAttachment(shows="receipt"))
    sha256 = get_attachment(session, attachment_id).sha256
    with pytest.raises(InvalidValue, match="reason for removal is empty"):
        detach(session, attachment_id, why=" ")
    detach(session, attachment_id, why="wrong unit")
    assert attachments_of_unit(session, unit.unit_id or 0) == []
    assert session.get(RawFile, sha256) is not None
    change = session.scalars(select(Change).order_by(Change.id.desc())).first()
    assert change is not None
    assert sha256 in (change.before or "")


@pytest.mark.parametrize(
    ("content", "name", "new", "message"),
    [
        (b"MZ\x90\x00", "setup.exe", METER, "setup.exe is neither a photo .* nor a PDF"),
        (b"<script>alert(1)</script>", "a.jpg", METER, "a.jpg is neither a photo"),
        (DOCUMENT, "bill.pdf", NewAttachment(for_readers=True), "Only photos are shown to readers"),
        (PHOTO, "a.jpg", NewAttachment(shows="cat"), "What it shows is 'cat'; choose one of"),
        (b"%PDF-" + bytes(30_000_001), "big.pdf", METER, "big.pdf has 30 MB; at most 30 MB"),
    ],
)
def test_what_cannot_be_stored_says_why(
    session: Session, unit: Evidence, content: bytes, name: str, new: NewAttachment, message: str
):
    with pytest.raises(InvalidValue, match=message):
        attach(session, unit, content, name, new)
    assert session.scalars(select(RawFile.sha256)).all() == []


def test_a_file_belongs_to_one_thing_that_exists(session: Session, small_bench: SmallBench):
    for belongs_to in (Evidence(), Evidence(unit_id=1, trial_id=1)):
        with pytest.raises(InvalidValue, match="belongs to one unit or to one trial"):
            attach(session, belongs_to, PHOTO, "a.jpg", METER)
    for missing in (Evidence(unit_id=99), Evidence(trial_id=99), Evidence(unit_id=1, sound_measurement_id=99)):
        with pytest.raises(NotFound, match=r"There is no .* 99"):
            attach(session, missing, PHOTO, "a.jpg", METER)
    assert attachments_of_trial(session, 99) == []

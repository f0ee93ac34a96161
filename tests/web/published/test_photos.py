"""Photos on the published pages: only those chosen, and nothing in them but the picture."""

import re
from io import BytesIO
from pathlib import Path

from PIL import Image
from sqlalchemy import Engine

from app.services.units.attachments.attach import Evidence, attach, attachments_of_unit, show_to_readers
from app.services.units.attachments.definitions import NewAttachment
from app.storage.engine import session_scope
from app.web.published.publish import publish
from tests.sample_data.photos import photo

UNIT, TRIAL = 1, 1
GPS = 0x8825  # Exif 2.32: the directory of the place


def test_chosen_photos_are_published_without_their_place_and_can_be_taken_down(bench: Engine, tmp_path: Path):
    site = tmp_path / "site"
    label = photo(place=True, taken_at="2026:01:05 10:00:00")
    assert Image.open(BytesIO(label)).getexif().get_ifd(GPS)
    with session_scope(bench) as session:
        chosen, of_trial = (
            NewAttachment(shows="label", caption="Rated 40 W", for_readers=True),
            Evidence(trial_id=TRIAL),
        )
        first = attach(session, Evidence(unit_id=UNIT), label, "label.jpg", chosen)
        second = attach(session, Evidence(trial_id=TRIAL), photo(width=60, place=True), "setup.jpg", chosen)
        hidden = attach(session, Evidence(unit_id=UNIT), photo(width=70), "receipt.jpg", NewAttachment(shows="receipt"))
    publish(bench, site, workers=1)
    assert {path.name for path in (site / "photos").iterdir()} == {
        f"{number}{size}.jpg" for number in (first, second) for size in ("", "-small")
    }
    for path in (site / "photos").iterdir():
        image = Image.open(BytesIO(path.read_bytes()))
        assert (image.format, dict(image.getexif()), b"Exif" in path.read_bytes()) == ("JPEG", {}, False)
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    pages = {path: path.read_text() for path in site.rglob("*.html")}
    of_unit = next(text for path, text in pages.items() if path.parent.parent.name == "units" and "Photos" in text)
    of_trial = (site / f"trials/{TRIAL}.html").read_text()
    for number, text in ((first, of_unit), (second, of_trial)):
        assert (str(number), "Label: Rated 40 W") in re.findall(r'photos/(\d+)-small.jpg" alt="([^"]*)"', text)
    assert not any("receipt.jpg" in text or f"photos/{hidden}" in text for text in pages.values())

    with session_scope(bench) as session:
        show_to_readers(session, first, False, of=Evidence(unit_id=UNIT))
        assert [row.for_readers for row in attachments_of_unit(session, UNIT)] == [False, False]
    before = (site / f"photos/{first}.jpg").read_bytes()
    publish(bench, site, workers=1)
    after = (site / f"photos/{first}.jpg").read_bytes()
    assert after != before  # the address stays, the photo does not
    assert Image.open(BytesIO(after)).size == (640, 120)
    assert not any(f"photos/{first}" in path.read_text() for path in site.rglob("*.html"))

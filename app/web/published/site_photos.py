"""Photos for readers in the published site: copies that hold nothing but the picture."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO

from sqlalchemy.orm import Session

from app.services.units.attachments.attach import attachment_picture, get_attachment
from app.services.units.attachments.pictures import PictureSize
from app.web.pages.attachments.lines import AttachmentLine
from app.web.published.site_frame import SiteFile, short_hash

FOLDER = "photos/"
_SIZES: tuple[PictureSize, ...] = ("small", "large")
_NOTICE_SIZE = (640, 120)


@dataclass(frozen=True, slots=True)
class SitePhoto:
    """A photo on a page, with the file that it links to."""

    small: str
    large: str
    alt: str
    words: str


def site_photos(lines: Sequence[AttachmentLine]) -> list[SitePhoto]:
    """The photos of a page that are for readers."""
    return [
        SitePhoto(_path(line.id, "small"), _path(line.id, "large"), line.alt, line.words)
        for line in lines
        if line.is_for_readers
    ]


def photo_files(session: Session, lines: Sequence[AttachmentLine], made_from: Mapping[str, str]) -> list[SiteFile]:
    """Both sizes of each; one that is the same as in the edition before is not made again."""
    from PIL import __version__  # loaded when used

    files = []
    for line in lines:
        if not line.is_for_readers:
            continue
        row = get_attachment(session, line.id)
        for size in _SIZES:
            path, mark = _path(line.id, size), short_hash(f"{row.sha256} {size} {__version__}".encode())
            same = made_from.get(path) == mark
            files.append(SiteFile(path, None if same else attachment_picture(session, row, size), mark))
    return files


def taken_down_photo(path: str, day: str) -> SiteFile:
    """The file at the address of a photo that readers no longer see."""
    from PIL import Image, ImageDraw, ImageFont  # loaded when used

    picture = Image.new("RGB", _NOTICE_SIZE, "#fbfaf6")
    words = f"This photo was taken down on {day}."
    ImageDraw.Draw(picture).text((20, 40), words, "#1c1f26", font=ImageFont.load_default(26))
    out = BytesIO()
    picture.save(out, "JPEG", quality=85)
    return SiteFile(path, out.getvalue())


def _path(attachment_id: int, size: PictureSize) -> str:
    return f"{FOLDER}{attachment_id}{'-small' if size == 'small' else ''}.jpg"

"""Invented photos and a document, as small as they can be."""

from io import BytesIO

from PIL import Image

DOCUMENT = b"%PDF-1.4\n%invented\n"


def photo(
    *,
    width: int = 40,
    height: int = 30,
    taken_at: str = "",
    place: bool = False,
    turned: bool = False,
    form: str = "JPEG",
) -> bytes:
    """A photo of one colour, with the hidden data that a phone adds."""
    details = Image.Exif()
    if taken_at:
        details.get_ifd(0x8769)[0x9003] = taken_at
    if place:
        details.get_ifd(0x8825)[1] = "N"
        details.get_ifd(0x8825)[2] = (52.0, 31.0, 12.0)
    if turned:
        details[0x0112] = 6  # Exif 2.32, orientation: turn by 90 degrees
    out = BytesIO()
    Image.new("RGB", (width, height), "teal").save(out, form, exif=details.tobytes())
    return out.getvalue()

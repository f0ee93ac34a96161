"""Photos: recognising one, and copies without hidden data such as the place where it was taken."""

import threading
import warnings
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from typing import Literal

from PIL import Image, ImageOps, UnidentifiedImageError

from app.errors import InvalidValue

LARGEST_PIXELS = 80_000_000
PictureSize = Literal["small", "large"]
LONGEST_SIDES_PX: dict[PictureSize, int] = {"small": 320, "large": 1600}  # beside a number, and for readers
_FORMATS = ("JPEG", "PNG", "WEBP")
_TAKEN_AT, _DETAILS = 0x9003, 0x8769  # Exif 2.32: DateTimeOriginal, Exif IFD
_QUALITY = 85
# A decoded photo of the largest size takes 320 MB, and a page asks for several at once.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True)
class Picture:
    """What a photo's file says of it."""

    media_type: str
    width_px: int
    height_px: int
    taken_on: date | None


def read_picture(content: bytes, file_name: str) -> Picture | None:
    """The photo in a file; None if the file is none. Raises InvalidValue for one that is damaged or too large."""
    try:
        with _ONE_AT_A_TIME, _opened(content, file_name) as image:
            image.load()
            turned = ImageOps.exif_transpose(image)
            details = image.getexif()
            return Picture(
                media_type="image/jpeg" if image.format == "MPO" else Image.MIME[image.format or ""],
                width_px=turned.width,
                height_px=turned.height,
                taken_on=_day(details.get_ifd(_DETAILS).get(_TAKEN_AT)),
            )
    except UnidentifiedImageError:
        return None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise InvalidValue(f"{file_name} is a damaged photo. Save it again as JPEG.", field="file") from error


def picture_copy(content: bytes, file_name: str, size: PictureSize) -> bytes:
    """The photo as an upright JPEG of that size at most, without any other data of the file."""
    longest_px = LONGEST_SIDES_PX[size]
    with _ONE_AT_A_TIME, _opened(content, file_name) as image:
        # before it is turned: a JPEG is then decoded at a fraction of its size
        image.thumbnail((longest_px, longest_px))
        upright = ImageOps.exif_transpose(image)
        flat = Image.new("RGB", upright.size, "white")
        seen = upright.convert("RGBA")
        flat.paste(seen, mask=seen.getchannel("A"))
        out = BytesIO()
        flat.save(out, "JPEG", quality=_QUALITY, optimize=True)
        return out.getvalue()


def _opened(content: bytes, file_name: str) -> Image.Image:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the limit below is lower
        Image.init()  # makes all formats known, once
        try:
            image = Image.open(BytesIO(content), formats=_FORMATS)
        except Image.DecompressionBombError:
            raise _too_large(file_name) from None
    if image.width * image.height > LARGEST_PIXELS:
        raise _too_large(file_name)
    return image


def _too_large(file_name: str) -> InvalidValue:
    return InvalidValue(
        f"{file_name} has more than {LARGEST_PIXELS // 1_000_000} million pixels. Save it smaller.", field="file"
    )


def _day(taken_at: object) -> date | None:
    try:
        return date.fromisoformat(str(taken_at)[:10].replace(":", "-"))
    except ValueError:
        return None

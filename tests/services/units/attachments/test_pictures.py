"""Photos are recognised by their bytes, and their copies hold nothing but the picture."""

import struct
import time
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import date
from io import BytesIO
from types import SimpleNamespace

import pytest
from PIL import Image, ImageOps

from app.errors import InvalidValue
from app.services.units.attachments import pictures
from app.services.units.attachments.pictures import LONGEST_SIDES_PX, _opened, picture_copy, read_picture
from tests.sample_data.photos import DOCUMENT, photo


@pytest.mark.parametrize(("form", "media_type"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")])
def test_a_photo_is_recognised_by_its_bytes(form: str, media_type: str):
    found = read_picture(photo(form=form, taken_at="2026:02:03 10:00:00", place=True), "a.bin")
    assert found is not None
    assert (found.media_type, found.width_px, found.height_px) == (media_type, 40, 30)
    assert found.taken_on == date(2026, 2, 3)


def test_a_photo_without_hidden_data_has_none():
    found = read_picture(photo(), "a.jpg")
    assert found is not None
    assert found.taken_on is None


def test_what_is_no_photo_is_none():
    assert read_picture(DOCUMENT, "a.pdf") is None
    assert read_picture(b"<svg xmlns='http://www.w3.org/2000/svg'></svg>", "a.svg") is None
    assert read_picture(b"", "a.jpg") is None


def test_the_copy_is_upright_and_holds_no_hidden_data():
    original = photo(taken_at="2026:02:03 10:00:00", place=True, turned=True)
    with Image.open(BytesIO(picture_copy(original, "a.jpg", "large"))) as copy:
        assert copy.size == (30, 40)  # turned, so width and height change places
        assert dict(copy.getexif()) == {}
        assert not copy.info.keys() & {"exif", "xmp", "icc_profile", "comment", "photoshop"}


@pytest.mark.parametrize("size", LONGEST_SIDES_PX)
def test_the_copy_is_no_larger_than_its_size(size):
    with Image.open(BytesIO(picture_copy(photo(width=4000, height=2000), "a.jpg", size))) as copy:
        assert copy.size == (LONGEST_SIDES_PX[size], LONGEST_SIDES_PX[size] // 2)


def test_a_large_photo_is_turned_only_once_it_is_small(monkeypatch: pytest.MonkeyPatch):
    turned: list[int] = []

    def turn(image: Image.Image) -> Image.Image:
        turned.append(max(image.size))
        return ImageOps.exif_transpose(image)

    monkeypatch.setattr(pictures, "ImageOps", SimpleNamespace(exif_transpose=turn))
    with Image.open(BytesIO(picture_copy(photo(width=4000, height=2000, turned=True), "a.jpg", "small"))) as copy:
        assert copy.size == (160, 320)
    assert turned == [320]


def test_one_photo_is_decoded_at_a_time(monkeypatch: pytest.MonkeyPatch):
    """A page asks for several at once, and each of the largest takes 320 MB."""
    open_now, most = 0, 0

    @contextmanager
    def opened(content: bytes, file_name: str) -> Iterator[Image.Image]:
        nonlocal open_now, most
        open_now += 1
        most = max(most, open_now)
        time.sleep(0.05)
        with _opened(content, file_name) as image:
            yield image
        open_now -= 1

    monkeypatch.setattr(pictures, "_opened", opened)
    one = photo()
    with ThreadPoolExecutor(4) as pool:
        copies = [pool.submit(picture_copy, one, "a.jpg", "small") for _ in range(4)]
        read = pool.submit(read_picture, one, "a.jpg")
    assert len({copy.result() for copy in copies}) == 1
    assert read.result() is not None
    assert most == 1


def test_a_clear_background_becomes_white():
    out = BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(out, "PNG")
    with Image.open(BytesIO(picture_copy(out.getvalue(), "a.png", "small"))) as copy:
        red, green, blue = copy.getpixel((4, 4))
    assert min(red, green, blue) > 250


def test_the_same_photo_gives_the_same_copy():
    assert picture_copy(photo(), "a.jpg", "small") == picture_copy(photo(), "a.jpg", "small")


def test_a_damaged_photo_is_refused():
    with pytest.raises(InvalidValue, match=r"^a.jpg is a damaged photo\. Save it again as JPEG"):
        read_picture(photo(width=400, height=400)[:-200], "a.jpg")


@pytest.mark.parametrize("side", [10_000, 60_000])
def test_a_bomb_of_pixels_is_refused_before_it_is_unpacked(side: int):
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    bomb = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    with pytest.raises(InvalidValue, match="more than 80 million pixels"):
        read_picture(bomb, "a.png")

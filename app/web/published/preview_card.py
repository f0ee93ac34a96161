"""Picture of a page for previews in messages and articles: its title and finding on paper, 1200 by 630."""

from collections.abc import Mapping
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from textwrap import wrap
from typing import Any
from zlib import Z_FILTERED

from app.web.published.site_frame import SiteFile, SiteFrame, short_hash

_SIZE = (1200, 630)
_INK, _PAPER = (0x1C, 0x1F, 0x26), (0xFB, 0xFA, 0xF6)
_FULL, _FADED, _LINE = 255, 187, 51  # how much of the ink: a drawing of shades is four times as fast as one in colour
_SHADES = 16
_VERSION = "6"  # of the layout below


def card_file(site: SiteFrame, path: str, title: str, answer: str, made_from: Mapping[str, str]) -> SiteFile:
    """The card of a page; not drawn again where its words are those of the edition before."""
    from PIL import __version__  # loaded when used

    notice = "Demonstration with invented data" if site.invented else ""
    words = (title, answer, site.publication or site.bench_name, notice)
    mark = short_hash(repr((_VERSION, __version__, words)).encode())
    return SiteFile(path, None if made_from.get(path) == mark else _drawn(*words), mark)


def _drawn(title: str, answer: str, name: str, notice: str) -> bytes:
    from PIL import Image, ImageDraw  # loaded when used

    picture = Image.new("L", _SIZE, 0)
    draw = ImageDraw.Draw(picture)
    draw.line((60, 92, 1140, 92), fill=_LINE, width=2)
    draw.text((60, 48), _shortened(name, 60), fill=_FADED, font=_font(28))
    top = 124
    for line in _lines(title, 36, 3):
        draw.text((60, top), line, fill=_FULL, font=_font(48, bold=True))
        top += 62
    top += 20
    for line in _lines(answer, 62, 6):
        draw.text((60, top), line, fill=_FULL, font=_font(30))
        top += 44
    if notice:
        draw.text((60, 568), notice, fill=_FADED, font=_font(26, bold=True))
    out = BytesIO()
    shades = Image.frombytes("P", _SIZE, picture.point([value // _SHADES for value in range(256)]).tobytes())
    part = [shade / (_SHADES - 1) for shade in range(_SHADES)]
    shades.putpalette(
        [round(paper + (ink - paper) * one) for one in part for ink, paper in zip(_INK, _PAPER, strict=True)]
    )
    shades.save(out, "PNG", bits=4, compress_level=4, compress_type=Z_FILTERED)
    return out.getvalue()


def _lines(words: str, width: int, most: int) -> list[str]:
    lines = wrap(words, width)
    return lines if len(lines) <= most else [*lines[: most - 1], f"{lines[most - 1][: width - 1]}…"]


def _shortened(words: str, most: int) -> str:
    return words if len(words) <= most else f"{words[: most - 1]}…"


@lru_cache
def _font(size: int, *, bold: bool = False) -> Any:
    """The font that the drawing library brings, so that a card has the same bytes on every machine."""
    from importlib.util import find_spec

    from PIL import ImageFont  # loaded when used

    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise RuntimeError(
            "The package matplotlib is not installed; cards need its fonts. Reinstall hazefall with pip."
        )
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name, size)

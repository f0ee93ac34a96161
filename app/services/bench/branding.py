"""Font and colours of charts and tables for a publication, checked for safety and contrast."""

import re

from app.compute.wording.contrast import LINE_CONTRAST, TEXT_CONTRAST, contrast, is_colour
from app.errors import InvalidValue
from app.services.store.checked_values import optional_text

# bundled with the drawing library, so that a picture has the same bytes on every machine
BUNDLED_FONTS = ("DejaVu Sans", "DejaVu Serif", "DejaVu Sans Mono", "STIXGeneral")
_LICENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+-]{1,60}|https?://[^\s\"'<>]+")
_FONT = re.compile(r"[A-Za-z0-9][A-Za-z0-9 -]*")


def font_family(name: str, field: str, what: str) -> str:
    """A font family name, without characters that could end a CSS rule."""
    font = optional_text(name, field, what, 60)
    if font and not _FONT.fullmatch(font):
        raise InvalidValue(
            f"{what} is {font!r}; enter the name of one font family, in letters, digits, spaces and hyphens.",
            field=field,
        )
    return font


def licence_name(name: str, field: str, what: str) -> str:
    """An SPDX identifier or an address, so that a machine can read what may be done with the data."""
    licence = optional_text(name, field, what, 200)
    if licence and not _LICENCE.fullmatch(licence):
        raise InvalidValue(
            f"{what} is {licence!r}; enter an SPDX identifier such as CC-BY-4.0, or an address that begins with "
            "https://.",
            field=field,
        )
    return licence


def text_colour(text: str, field: str, what: str) -> str:
    return _colour(text, field, what, TEXT_CONTRAST)


def line_colour(text: str, field: str, what: str) -> str:
    return _colour(text, field, what, LINE_CONTRAST)


def _colour(text: str, field: str, what: str, least_contrast: float) -> str:
    colour = optional_text(text, field, what, 20)
    if not colour:
        return ""
    if not is_colour(colour):
        raise InvalidValue(f"{what} is {colour!r}; enter a colour such as #1c1f26.", field=field)
    found = contrast(colour)
    if found < least_contrast:
        raise InvalidValue(
            f"{what} {colour} has a contrast of {found:.1f} to 1 on white; it needs {least_contrast:g} to 1 to be "
            "readable. Choose a darker colour.",
            field=field,
        )
    return colour.lower()

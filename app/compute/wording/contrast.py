"""Contrast ratio of two colours, to keep chart text and lines readable in a publication's own colours."""

import re

WHITE = "#ffffff"
TEXT_CONTRAST, LINE_CONTRAST = 4.5, 3.0  # W3C, WCAG 2.2, 1.4.3 and 1.4.11; from memory
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


def is_colour(text: str) -> bool:
    """Whether a text is a colour of six hexadecimal digits.

    >>> is_colour("#1c1f26"), is_colour("red"), is_colour("#fff")
    (True, False, False)
    """
    return _COLOUR.fullmatch(text) is not None


def contrast(colour: str, ground: str = WHITE) -> float:
    """Ratio of the two relative luminances, 1 to 21.

    Source   W3C, WCAG 2.2, definitions of contrast ratio and relative luminance; from memory
    Raises   ValueError for text that is not a colour of six hexadecimal digits

    >>> contrast("#000000"), round(contrast("#767676"), 2)
    (21.0, 4.54)
    """
    lighter, darker = sorted((_luminance(colour), _luminance(ground)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    if not is_colour(colour):
        raise ValueError(f"Found the colour {colour!r}; use six hexadecimal digits such as #1c1f26.")
    red, green, blue = (_linear(int(colour[start : start + 2], 16) / 255) for start in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(share: float) -> float:
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

"""Colours and fonts of an SVG that follows its reader: light or dark, and fonts that every system has."""

from typing import Literal

from app.compute.wording.contrast import TEXT_CONTRAST, contrast
from app.figures.chart import HouseStyle
from app.figures.palette import CURVE_COLOURS, FADED, HAIRLINE, INK, PAPER, RULE, lightened

CLASS = "chart-picture"
Look = Literal["page", "light", "dark", "transparent"]
DARK = {INK: "#e8e5dc", FADED: "#a9adb5", HAIRLINE: "#353a43", RULE: "#777c86", PAPER: "#14171c"}
_SERIF = ("DejaVu Serif", "STIXGeneral")
_SMALLEST_STEP = 6


def font_stack(font: str) -> str:
    """Fonts of the reader's system that are about as wide as the one that the layout counts with, or narrower."""
    if font == "DejaVu Sans Mono":
        return "'DejaVu Sans Mono', Menlo, Consolas, 'Courier New', monospace"
    if font in _SERIF:
        return f"'{font}', Georgia, 'Times New Roman', serif"
    return "'DejaVu Sans', Verdana, Geneva, Arial, sans-serif"


def dark_rules(house: HouseStyle, drawn: str) -> str:
    """The style sheet: each colour that fills or draws a line in the drawing, by its dark partner."""
    rules = "".join(
        f'.{CLASS} [{what}="{light}"]{{{what}:{dark}}}'
        for light, dark in dark_partners(house).items()
        for what in ("fill", "stroke")
        if f'{what}="{light}"' in drawn
    )
    return f"@media (prefers-color-scheme:dark){{{rules}}}"


def dark_partners(house: HouseStyle) -> dict[str, str]:
    """Colour on paper to the colour on a dark ground."""
    partners = DARK | {colour: lightened(colour) for colour in CURVE_COLOURS}
    return partners | {colour: readable_on_dark(colour) for colour in (house.ink, house.accent) if colour}


def readable_on_dark(colour: str) -> str:
    """The colour mixed with as much white as it needs on the dark ground.

    >>> readable_on_dark("#000000"), readable_on_dark("#ffee00")
    ('#808080', '#ffee00')
    """
    for step in range(_SMALLEST_STEP):
        mixed = lightened(colour, step / _SMALLEST_STEP)
        if contrast(mixed, DARK[PAPER]) >= TEXT_CONTRAST:
            return mixed
    return "#ffffff"

"""Makes a drawn SVG follow its reader: light or dark by a style sheet inside it, and fonts that every system has.

The colours of the drawing stay in its style attributes, so that a program that knows no style sheets shows it in light.
"""

import re

from app.compute.wording.contrast import TEXT_CONTRAST, contrast
from app.figures.chart import HouseStyle
from app.figures.palette import CURVE_COLOURS, FADED, HAIRLINE, INK, PAPER, RULE, lightened

CLASS = "chart-picture"
DARK = {INK: "#e8e5dc", FADED: "#a9adb5", HAIRLINE: "#353a43", RULE: "#777c86", PAPER: "#14171c"}
_SERIF = ("DejaVu Serif", "STIXGeneral")
_FONT = re.compile(r"""font-family: [^;"]+""")
_SMALLEST_STEP = 6


def following_the_page(svg: str, house: HouseStyle) -> str:
    """The SVG with its dark colours and its fonts."""
    svg = _FONT.sub(f"font-family: {font_stack(house.font)}", svg)
    head, rest = svg.split("<svg ", 1)
    opening, body = rest.split(">", 1)
    return f'{head}<svg class="{CLASS}" {opening}>\n <style type="text/css">{dark_rules(house)}</style>{body}'


def font_stack(font: str) -> str:
    """Fonts of the reader's system that are about as wide as the one that the layout counts with, or narrower."""
    if font == "DejaVu Sans Mono":
        return "'DejaVu Sans Mono', Menlo, Consolas, 'Courier New', monospace"
    if font in _SERIF:
        return f"'{font}', Georgia, 'Times New Roman', serif"
    return "'DejaVu Sans', Verdana, Geneva, Arial, sans-serif"


def dark_rules(house: HouseStyle) -> str:
    """The style sheet: each colour of the drawing, wherever it fills or draws a line, by its dark partner."""
    partners = DARK | {colour: lightened(colour) for colour in CURVE_COLOURS}
    partners |= {colour: readable_on_dark(colour) for colour in (house.ink, house.accent) if colour}
    rules = "".join(
        f'.{CLASS} [style*="{what}: {light.lower()}"]{{{what}:{dark}!important}}'
        for light, dark in partners.items()
        for what in ("fill", "stroke")
    )
    return f"@media (prefers-color-scheme:dark){{{rules}}}"


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

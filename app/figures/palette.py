"""Colours and line styles that are distinct for colour-blind readers and in greyscale print.

Colours: M. Okabe and K. Ito, "Color Universal Design: how to make figures and presentations that are friendly to
colorblind people", 2008 (values from memory; common practice). Their yellow is omitted as too faint on paper,
and black is used for references. Line style is a second cue that changes with each curve.
"""

from dataclasses import dataclass

BLUE, VERMILION, GREEN, PURPLE, SKY, ORANGE = "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00"
INK, FADED, HAIRLINE, RULE, PAPER = "#1c1f26", "#565a63", "#d6d2c4", "#8a877c", "#ffffff"
REGION = "#777777"  # drawn faintly, on light and dark alike
CURVE_COLOURS = (BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY)


@dataclass(frozen=True, slots=True)
class LineStyle:
    """A line style for both renderers: Plotly's name, and matplotlib's dash lengths in points."""

    plotly: str
    matplotlib: tuple[float, tuple[float, ...]] | str


LINE_STYLES = (
    LineStyle("solid", "solid"),
    LineStyle("9px,3px", (0, (9, 3))),
    LineStyle("2px,2px", (0, (2, 2))),
    LineStyle("9px,3px,2px,3px", (0, (9, 3, 2, 3))),
)
REFERENCE_STYLE = LineStyle("6px,5px", (0, (6, 5)))


def colour_of(index: int | None, ink: str, accent: str = "") -> str:
    """Colour of a curve; references use the ink colour. A publication's accent replaces the first colour.

    >>> colour_of(0, "#000000"), colour_of(0, "#000000", "#7A1F3D"), colour_of(None, "#000000", "#7A1F3D")
    ('#0072B2', '#7A1F3D', '#000000')
    """
    if index is None:
        return ink
    place = index % len(CURVE_COLOURS)
    return accent if accent and place == 0 else CURVE_COLOURS[place]


def lightened(colour: str, share: float = 1 / 3) -> str:
    """The colour mixed with white, for a dark ground.

    >>> lightened("#0072B2")
    '#55a1cc'
    """
    parts = [int(colour[start : start + 2], 16) for start in (1, 3, 5)]
    return "#" + "".join(f"{round(part + (255 - part) * share):02x}" for part in parts)


def line_style_of(index: int) -> LineStyle:
    return LINE_STYLES[index % len(LINE_STYLES)]


def cues(number: int) -> list[tuple[int, int]]:
    """Colour and line style for so many curves; neighbours differ in both, and no pair repeats before 12.

    >>> cues(3)
    [(0, 0), (1, 1), (2, 2)]
    """
    return [(place % len(CURVE_COLOURS), (place + place // 12) % len(LINE_STYLES)) for place in range(number)]

"""Makes a drawn SVG smaller for readers' connections: the same picture, a fifth of the bytes.

A chart of raw readings holds hundreds of equal dots, each an element of its own with its style. Here they become one
path of dots, and coordinates lose the digits that no screen shows.
"""

import re

_LEAST = 8  # dots that are worth a path
_DECIMALS = 2  # of a point; a screen shows tenths
_DOT = r'\s*<use xlink:href="#(?P<id>\w+)" x="[^"]+" y="[^"]+" style="(?P<style>[^"]*)"/>'
_RUN = re.compile(rf'{_DOT}(?:\s*<use xlink:href="#(?P=id)" x="[^"]+" y="[^"]+" style="(?P=style)"/>){{{_LEAST},}}')
_PLACE = re.compile(r'x="([^"]+)" y="([^"]+)"')
_CIRCLE = r'<path id="{}" d="M 0 ([\d.]+) \s*C '
_COORDINATES = re.compile(r'(?<= )(d|x|y|x1|x2|y1|y2)="([^"]*)"')
_LONG = re.compile(r"-?\d+\.\d{3,}")
_SPACE = re.compile(r"\s+")


def lean_svg(drawn: bytes) -> bytes:
    text = drawn.decode()
    text = _RUN.sub(lambda run: _dots(run, text), text)
    return _COORDINATES.sub(_short, text).encode()


def _dots(run: re.Match[str], whole: str) -> str:
    """One path instead of many circles; other marks stay as they are."""
    circle = re.search(_CIRCLE.format(run["id"]), whole)
    style = dict(part.strip().split(": ", 1) for part in run["style"].split(";") if ": " in part)
    if circle is None or "fill" not in style or "stroke" in style:
        return run[0]
    places = "".join(f"M{_rounded(x)} {_rounded(y)}h0" for x, y in _PLACE.findall(run[0]))
    drawn = {"fill": "none", "stroke": style["fill"], "stroke-width": f"{2 * float(circle[1]):g}"}
    if "fill-opacity" in style:
        drawn["stroke-opacity"] = style["fill-opacity"]
    words = "; ".join(f"{name}: {value}" for name, value in (drawn | {"stroke-linecap": "round"}).items())
    return f'\n<path d="{places}" style="{words}"/>'


def _short(found: re.Match[str]) -> str:
    value = _LONG.sub(lambda number: _rounded(number[0]), found[2])
    return f'{found[1]}="{_SPACE.sub(" ", value).strip() if found[1] == "d" else value}"'


def _rounded(number: str) -> str:
    """
    >>> _rounded("42.353487"), _rounded("298.5"), _rounded("-0.001")
    ('42.35', '298.5', '0')
    """
    text = f"{float(number):.{_DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text

"""Width of text in pixels, from the advance widths of DejaVu Sans, the font of the drawn pictures.

Reading the font file needs a library that a page of tables does not load; a test compares these widths with the font.
Verdana is as wide; Helvetica and Arial, which the pages use, are narrower.
"""

import re
import unicodedata
from functools import lru_cache

_REGULAR = {
    318: " ,.·’", 401: "!³²", 460: '"', 838: "#+<=>^~±−×", 636: "$0123456789{}µ€", 950: "%", 780: "&", 275: "'",
    390: "()[]", 500: "*_`–°", 361: "-", 337: "/:;\\|", 531: "?", 1000: "@…—", 684: "AV", 686: "B", 698: "C", 770: "D",
    632: "E", 575: "F", 775: "G", 752: "H", 295: "IJ", 656: "K", 557: "L", 863: "M", 748: "N", 787: "OQ", 603: "P",
    695: "R", 635: "Sbdgpq", 611: "TY", 732: "U", 989: "W", 685: "XZ", 613: "a", 550: "c", 615: "e", 352: "f",
    634: "hnu", 278: "ijl", 579: "k", 974: "mÆ", 612: "oø", 411: "r", 521: "s", 392: "t", 592: "vxy", 818: "w",
    525: "z", 630: "ß", 400: "›", 518: "“”",
}  # fmt: skip
_BOLD = {
    348: " ", 456: "!", 521: '"', 838: "#+<=>^~±−×", 696: "$0123456789€", 1002: "%", 872: "&", 306: "'", 457: "()[]",
    523: "*", 380: ",.·’", 415: "-", 365: "/\\|", 400: ":;", 580: "?", 1000: "@…—", 774: "AV", 762: "B", 734: "C",
    830: "D", 683: "EF", 821: "G", 837: "HN", 372: "IJ", 775: "K", 637: "L", 995: "M", 850: "OQ", 733: "P", 770: "R",
    720: "S", 682: "T", 812: "U", 1103: "W", 771: "X", 724: "Y", 725: "Z", 500: "_`–°", 675: "a", 716: "bdgpq",
    593: "c", 678: "e", 435: "f", 712: "hnu{}", 343: "ijl", 665: "k", 1042: "m", 687: "oø", 493: "r", 595: "s",
    478: "t", 652: "vy", 924: "w", 645: "x", 582: "z", 736: "µ", 438: "³²", 719: "ß", 412: "›", 657: "“”", 1085: "Æ",
}  # fmt: skip
_SPACES = {"\u00a0": 318, "\u2009": 200, "\u202f": 200}
_UNKNOWN = 1160  # the box that stands for a letter that the font lacks
# a publication's font beside DejaVu Sans: wider by at most this factor in words
_FONT_FACTOR = {"DejaVu Serif": 1.2, "STIXGeneral": 1.05}
_MONOSPACED = 602
_HINTING = 1.015  # letters on whole pixels are a little wider than the font says
ELLIPSIS = "…"
_NARROWEST_PX = 2.5  # of a letter, in the smallest text
_TOGETHER = re.compile(r"(?<=\d) (?=(?:%|m²|m³|min|h|W|USD)(?![\w]))")  # a number and its unit


def _by_letter(widths: dict[int, str]) -> dict[str, int]:
    return {letter: width for width, letters in widths.items() for letter in letters} | _SPACES


_WIDTHS = {False: _by_letter(_REGULAR), True: _by_letter(_BOLD)}


@lru_cache(maxsize=4096)
def text_width(words: str, size: float, *, bold: bool = False, font: str = "") -> float:
    """Width of one line of text [px] at a font size [px]; unknown letters count as wide ones.

    >>> round(text_width("clear level", 13), 1)
    68.1
    """
    widths = _WIDTHS[bold]
    if font == "DejaVu Sans Mono":
        widths = dict.fromkeys(widths, _MONOSPACED)
    return _HINTING * size / 1000 * sum(_of(letter, widths) for letter in words) * _FONT_FACTOR.get(font, 1.0)


def _of(letter: str, widths: dict[str, int]) -> int:
    known = widths.get(letter)
    if known is not None:
        return known
    base = unicodedata.normalize("NFKD", letter)[:1]
    return widths.get(base, _UNKNOWN)


def text_lines(
    words: str, width: float, size: float, *, most: int = 9, even: bool = False, bold: bool = False, font: str = ""
) -> list[str]:
    """Words in lines no wider than `width` [px]; a word that is too long is cut, and so is what exceeds `most` lines.

    even : lines of about the same width

    >>> text_lines("Home-built Box fan with four filters", 130, 13, most=2)
    ['Home-built Box fan', 'with four filters']
    >>> text_lines("Home-built Box fan with four filters", 130, 13, most=1)
    ['Home-built Box f…']
    >>> text_lines("Home-built Box fan, 3", 120, 13, even=True)
    ['Home-built', 'Box fan, 3']
    """
    words = words[: int(most * width / _NARROWEST_PX)]  # what no line can show need not be measured
    words = _TOGETHER.sub("\u00a0", words)
    lines = _filled(words, width, size, most, bold=bold, font=font)
    if even and len(lines) > 1:
        for narrower in range(int(width / len(lines)), int(width), 8):
            tried = _filled(words, narrower, size, most, bold=bold, font=font)
            if len(tried) <= len(lines) and not any(
                text_width(line, size, bold=bold, font=font) > width for line in tried
            ):
                lines = tried
                break
    return [_cut(line, width, size, bold=bold, font=font) for line in lines if line]


def _filled(words: str, width: float, size: float, most: int, *, bold: bool, font: str) -> list[str]:
    lines = [""]
    for word in words.split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if not lines[-1] or len(lines) == most or text_width(longer, size, bold=bold, font=font) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _cut(line: str, width: float, size: float, *, bold: bool, font: str) -> str:
    if text_width(line, size, bold=bold, font=font) <= width:
        return line
    while len(line) > 1 and text_width(line + ELLIPSIS, size, bold=bold, font=font) > width:
        line = line[:-1]
    return line.rstrip(" ,") + ELLIPSIS

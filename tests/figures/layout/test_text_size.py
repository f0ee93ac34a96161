"""Widths of text agree with the font that draws it, and lines are cut where they should be."""

from itertools import pairwise
from pathlib import Path

import matplotlib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.ft2font import FT2Font, LoadFlags

from app.figures.layout import text_size
from app.figures.layout.spacing import spaced, that_fit
from app.figures.layout.text_size import text_lines, text_width

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
LETTERS = [chr(code) * 20 for code in range(33, 127)]
WORDS = [
    "Home-built Box fan with four filters, 74 USD",
    "clear level 10 µg/m³",
    "95 % interval ± 3, 12–15 m³/h", "Café Señor",
    "Unpronounceably & Daughters of Long Wharf", "0.31 per hour (> 172 min)",
]  # fmt: skip


def _drawn(words: str, file: str, size: float) -> float:
    """Sum of the advance widths in the font file [px]."""
    font = FT2Font(str(FONTS / file))
    font.set_size(1000, 72)
    flags = LoadFlags.NO_HINTING
    return size / 1000 * sum(font.load_char(ord(each), flags=flags).linearHoriAdvance / 65536 for each in words)


@pytest.mark.parametrize("words", LETTERS + WORDS)
@pytest.mark.parametrize(("bold", "file"), [(False, "DejaVuSans.ttf"), (True, "DejaVuSans-Bold.ttf")])
def test_the_width_is_that_of_the_font(words: str, bold: bool, file: str):
    assert text_width(words, 13, bold=bold) == pytest.approx(1.015 * _drawn(words, file, 13), rel=0.005)


@pytest.mark.parametrize("words", WORDS)
@pytest.mark.parametrize(
    ("font", "file"),
    [
        ("DejaVu Serif", "DejaVuSerif.ttf"),
        ("DejaVu Sans Mono", "DejaVuSansMono.ttf"),
        ("STIXGeneral", "STIXGeneral.ttf"),
    ],
)
def test_a_publication_s_font_is_never_wider_than_counted(words: str, font: str, file: str):
    assert _drawn(words, file, 13) <= text_width(words, 13, font=font)


def test_no_line_is_wider_than_asked_and_no_word_is_lost():
    words = "Unpronounceably & Daughters of Long Wharf Model 3 with a Second Filter"
    for width in range(120, 500, 7):
        for even in (False, True):
            lines = text_lines(words, width, 13, even=even)
            assert all(text_width(line, 13) <= width for line in lines)
            assert " ".join(lines) == words


def test_a_number_keeps_its_unit():
    assert text_lines("PM2.5 of smoke, 95 % intervals", 110, 13)[-1] == "95\u00a0% intervals"


places = st.lists(st.tuples(st.floats(0, 100), st.floats(1, 9)), max_size=10)


@given(places)
def test_labels_never_overlap_and_stay_inside(labels: list[tuple[float, float]]):
    wanted, heights = [place for place, _ in labels], [height for _, height in labels]
    found = spaced(wanted, heights, 0.0, 100.0)
    in_order = sorted(zip(found, heights, strict=True))
    assert all(second - first >= (one + two) / 2 - 1e-6 for (first, one), (second, two) in pairwise(in_order))
    assert all(height / 2 - 1e-6 <= place <= 100 - height / 2 + 1e-6 for place, height in in_order)


@given(places)
def test_labels_keep_the_order_of_their_curves(labels: list[tuple[float, float]]):
    found = spaced([place for place, _ in labels], [height for _, height in labels], 0.0, 100.0)
    for i, (a, _) in enumerate(labels):
        for j, (b, _) in enumerate(labels):
            if a < b:
                assert found[i] < found[j]


def test_labels_that_do_not_touch_stay_where_they_are():
    assert spaced([90.0, 10.0, 50.0], [5.0, 5.0, 5.0], 0.0, 100.0) == pytest.approx([90.0, 10.0, 50.0])


@given(st.lists(st.floats(1, 50), max_size=12), st.floats(10, 200))
def test_what_fits_fits(heights: list[float], room: float):
    kept = that_fit(heights, room)
    assert sum(heights[index] for index in kept) <= room
    assert all(
        heights[index] + sum(heights[k] for k in kept if k < index) > room
        for index in range(len(heights))
        if index not in kept
    )


def test_what_no_line_can_show_is_not_measured(monkeypatch: pytest.MonkeyPatch):
    """A name of 4,000 letters, as an import might hold it, takes no longer than one that fills its lines."""
    measured: list[int] = []

    def counting(words: str, *more, **named) -> float:
        measured.append(len(words))
        return text_width(words, *more, **named)

    monkeypatch.setattr(text_size, "text_width", counting)
    short = text_lines("fan " * 40, 140, 13, most=2, even=True)
    of_short = sum(measured)
    measured.clear()
    assert text_lines("fan " * 1000, 140, 13, most=2, even=True) == short
    assert 0 < sum(measured) < 2 * of_short

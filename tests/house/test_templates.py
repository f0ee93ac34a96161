"""Templates keep to the house: nothing inline, a caption on every table, names escaped, no words that sell."""

import re
from pathlib import Path

import pytest

TEMPLATES = sorted(Path("templates").rglob("*.html"))
SCRIPTS = sorted(Path("static").glob("*.js"))  # not the library below it
STYLES = sorted(Path("static").rglob("*.css"))


def test_nothing_is_inline():
    for path, text in _texts(TEMPLATES):
        for script in re.findall(r"<script\b[^>]*>(.*?)</script>", text, re.DOTALL):
            # facts for machines are data, which no browser runs
            is_data = script in ("{{ page.facts }}", "{{ chart.values }}")
            assert not script.strip() or is_data, f"{path}: a script with content"
        assert not re.search(r"<style\b", text), path
        assert not re.search(r"\sstyle\s*=", text), path
        assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text), path
        assert "javascript:" not in text, path


def test_every_table_has_a_caption_and_every_head_a_scope():
    for path, text in _texts(TEMPLATES):
        assert text.count("<table") == text.count("<caption"), path
        for head in re.findall(r"<th\b[^>]*>", text):
            assert "scope=" in head, f"{path}: {head}"


def test_nothing_switches_the_escaping_off():
    for path, text in _texts(TEMPLATES):
        assert not re.search(r"\|\s*safe\b", text), path
        assert "autoescape false" not in text, path


def test_every_field_has_a_label():
    """Fields written out in a template (those of the macros carry their own label) are named by a label or in place."""
    for path, text in _texts(TEMPLATES):
        for field in re.findall(r"<(?:input|select|textarea)\b[^>]*>", text):
            if 'type="hidden"' in field or "aria-label=" in field:
                continue
            named = re.search(r'\bid="([^"]+)"', field)
            assert named, f"{path}: {field}"
            assert f'for="{named[1]}"' in text, f"{path}: {field}"


def test_nothing_comes_from_another_site():
    for path, text in _texts([*TEMPLATES, *SCRIPTS, *STYLES]):
        outside = re.search(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]{2,}", text.replace("http://www.w3.org/2000/svg", ""))
        assert not outside, f"{path}: {outside}"


def test_no_word_sells():
    """Quantities and intervals, no awards: the reader judges."""
    for path, text in _texts(TEMPLATES):
        words = re.sub(r"{[{%#].*?[}%#]}", " ", text, flags=re.DOTALL)
        words = re.sub(r"<[^>]+>", " ", words).casefold()
        for selling in ("winner", "award", "best buy", "editor's choice", "must-have", "stars", "medal", "out of ten"):
            assert selling not in words, path


def _texts(paths: list[Path]) -> list[tuple[Path, str]]:
    assert paths
    return [(path, path.read_text(encoding="utf-8")) for path in paths]


def _colours(scheme: str) -> dict[str, str]:
    """The named colours of the style sheet, in light or dark."""
    text = Path("static/base.css").read_text()
    light, dark = text.split("@media (prefers-color-scheme: dark)", 1)
    block = light if scheme == "light" else dark
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", block.split("/* the sheet", 1)[0]))


def _luminance(colour: str) -> float:
    parts = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2 (relative luminance of sRGB), from memory."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_gives_the_known_ends():
    """White on black is 21 : 1, a colour on itself 1 : 1. WCAG 2.2, from memory."""
    assert _contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert _contrast("#777777", "#777777") == pytest.approx(1.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("text", ["ink", "faded-ink", "accent"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_text_can_be_read_in_light_and_dark(scheme: str, text: str, ground: str):
    colours = _colours(scheme)
    assert _contrast(colours[text], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("mark", ["rule", "mark", "focus"])
def test_marks_can_be_seen_in_light_and_dark(scheme: str, mark: str):
    colours = _colours(scheme)
    assert _contrast(colours[mark], colours["paper"]) >= 3.0


def test_no_text_is_smaller_than_sixteen_pixels():
    """Sizes are given in rem; 1 rem is the reader's own size, 16 px unless changed. Print may be smaller."""
    text = Path("static/base.css").read_text().split("@media print", 1)[0]
    sizes = [float(size) for size in re.findall(r"font-size:\s*([\d.]+)rem", text)]
    assert sizes
    assert min(sizes) >= 1.0
    assert not re.search(r"font-size:\s*[\d.]+px", text)

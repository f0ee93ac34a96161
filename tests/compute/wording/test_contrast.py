"""Contrast of colours."""

import pytest

from app.compute.wording.contrast import contrast, is_colour


def test_black_on_white_has_the_largest_contrast():
    """W3C, WCAG 2.2, contrast ratio: from 1 to 21; from memory."""
    assert contrast("#000000") == pytest.approx(21.0)
    assert contrast("#ffffff") == pytest.approx(1.0)
    assert contrast("#777777") == pytest.approx(4.48, abs=0.005)  # the grey that just fails 4.5 to 1; from memory


def test_the_order_of_the_two_colours_does_not_matter():
    assert contrast("#1d4b87", "#fcfbf7") == pytest.approx(contrast("#fcfbf7", "#1d4b87"))


def test_what_is_no_colour_is_refused():
    assert not is_colour("#12345g")
    with pytest.raises(ValueError, match="Found the colour 'red'; use six hexadecimal digits such as #1c1f26"):
        contrast("red")

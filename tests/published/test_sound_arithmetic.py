"""Arithmetic of levels. Standing: formulas, windows and printed examples of ISO 3744:2010 (eq. 16, 8.2.3), ISO
3746:2010 (8.3.3), ISO 1996-2:2007, Barron (2003) and Hansen (2005) read second-hand; all figures recomputed, and every
printed example comes out at its printed precision. Sums and distances: recomputed only."""

import pytest

from app.compute.sound.levels import background_correction, energy_mean, energy_sum, level_at_distance

EXACT = [
    (3, 3.020624),
    (4, 2.204808),
    (5, 1.650885),
    (6, 1.256276),
    (7, 0.966529),
    (8, 0.749404),
    (9, 0.584352),
    (10, 0.457575),
    (12, 0.283048),
    (15, 0.139554),
]
PRINTED = [(6.0, 1.3), (6.5, 1.1), (7.0, 1.0), (7.5, 0.9), (8.0, 0.7), (9.0, 0.6), (10.0, 0.5)]


@pytest.mark.parametrize(("difference", "correction"), EXACT)
def test_background_correction_inside_the_window(difference, correction):
    rule = "ISO 3746" if difference <= 10 else "ISO 3744"
    assert background_correction(60.0, 60.0 - difference, rule).correction_db == pytest.approx(correction, abs=5e-7)


@pytest.mark.parametrize(("difference", "printed"), PRINTED)
def test_printed_table_of_corrections(difference, printed):
    assert background_correction(60.0, 60.0 - difference, "ISO 3744").correction_db == pytest.approx(
        printed, abs=0.0501
    )


@pytest.mark.parametrize(
    ("total", "background", "printed"), [(83.0, 77.0, 81.7), (90.0, 80.0, 89.5), (86.6, 80.0, 85.5)]
)
def test_printed_examples_of_corrected_levels(total, background, printed):
    """Barron (2003), Table 3-4 and its examples; Hansen (2005), Example 3.25."""
    assert round(background_correction(total, background, "ISO 3744").level_db, 1) == printed


def test_each_rule_has_its_own_window():
    """ISO 3744 corrects from 6 to 15 dB, ISO 3746 from 3 to 10 dB, ISO 1996-2 drops it at 10 dB and is void at 3 dB."""

    def finding(difference, rule):
        return background_correction(60.0, 60.0 - difference, rule).finding

    assert [finding(d, "ISO 3744") for d in (5.9, 6, 15, 15.1)] == [
        "upper bound",
        "corrected",
        "corrected",
        "as measured",
    ]
    assert [finding(d, "ISO 3746") for d in (2.9, 3, 10, 10.1)] == [
        "upper bound",
        "corrected",
        "corrected",
        "as measured",
    ]
    assert [finding(d, "ISO 1996-2") for d in (3, 3.1, 9.9, 10)] == [
        "upper bound",
        "corrected",
        "corrected",
        "as measured",
    ]


@pytest.mark.parametrize(("rule", "cap"), [("ISO 3744", 1.3), ("ISO 3746", 3.0)])
def test_below_the_window_the_cap_gives_an_upper_bound(rule, cap):
    """1.3 dB read second-hand; 3 dB from memory."""
    assert background_correction(40.0, 39.0, rule).level_db == pytest.approx(40.0 - cap)


@pytest.mark.parametrize(
    ("levels", "exact", "printed"),
    [
        ([86.0, 81.5, 82.4, 81.3, 70.9, 72.9, 68.0, 79.3, 78.5, 80.1], 80.585724, 80.6),
        ([81.5, 82.4, 81.3], 81.760238, 81.8),
    ],
)
def test_energy_mean(levels, exact, printed):
    """Barron (2003), Examples 3-5 and 3-6. The arithmetic mean of the first is 78.09."""
    assert energy_mean(levels) == pytest.approx(exact, abs=5e-7)
    assert round(energy_mean(levels), 1) == printed


@pytest.mark.parametrize(("levels", "total"), [([60, 60], 63.0103), ([60, 50], 60.413927), ([50, 53, 56], 58.436273)])
def test_energy_sum(levels, total):
    assert energy_sum(levels) == pytest.approx(total, abs=5e-7)


@pytest.mark.parametrize(("from_m", "to_m", "change"), [(1, 2, -6.0206), (1, 3, -9.542425), (0.5, 1, -6.0206)])
def test_distance(from_m, to_m, change):
    assert level_at_distance(50.0, from_m, to_m).change_db == pytest.approx(change, abs=5e-6)

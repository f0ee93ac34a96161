"""Average run lengths: Markov chain and quadrature against published tables, and the program against both.

The published values are read second-hand, in the manual page `xewma.arl` of the R package spc, which quotes them;
those of weight 0.2 are from memory.
"""

import numpy as np
import pytest

from app.compute.control_charts.limits import EWMA_SIGMAS, EWMA_WEIGHT
from tests.studies.few_trials.control_chart import found_after, table
from tests.studies.few_trials.ewma_run_lengths import chain_run_length, shewhart_run_length, varying_run_length

# J. M. Lucas and M. S. Saccucci, Technometrics 32, 1-12, 1990, table 3: weight 0.5 with 3.071, 0.03 with 2.437.
LUCAS_SACCUCCI = {
    0.0: (500, 500),
    0.25: (255, 76.7),
    0.5: (88.8, 29.3),
    1.0: (17.5, 12.6),
    2.0: (3.63, 5.99),
    3.0: (1.93, 4.03),
    5.0: (1.07, 2.55),
}
# S. H. Steiner, J. Qual. Technol. 31, 75-86, 1999, table 2: weight 0.05 with 3, limits of exact variance.
STEINER = {0.0: 1353, 0.25: 127, 0.5: 32.5, 0.75: 15.6, 1.0: 9.0, 1.5: 4.5, 2.0: 2.8}


@pytest.mark.parametrize("shift", LUCAS_SACCUCCI)
def test_the_chain_gives_the_published_run_lengths(shift: float):
    fast, slow = LUCAS_SACCUCCI[shift]
    assert chain_run_length(0.5, 3.071, shift) == pytest.approx(fast, rel=0.005)
    assert chain_run_length(0.03, 2.437, shift) == pytest.approx(slow, rel=0.005)


@pytest.mark.parametrize("shift", STEINER)
def test_the_quadrature_gives_the_published_run_lengths_of_exact_limits(shift: float):
    """Published to two or three digits, by a chain of few cells."""
    assert varying_run_length(0.05, 3.0, shift) == pytest.approx(STEINER[shift], rel=0.04)


def test_the_chosen_limits_have_the_usual_run_lengths():
    """About 500 without a change and 10.5 at one standard deviation, constant limits; from memory."""
    assert chain_run_length(EWMA_WEIGHT, EWMA_SIGMAS, 0.0) == pytest.approx(500, rel=0.002)
    assert chain_run_length(EWMA_WEIGHT, EWMA_SIGMAS, 1.0) == pytest.approx(10.5, rel=0.005)


def test_three_standard_deviations_have_the_known_run_lengths():
    """370 without a change and 43.9 at one standard deviation: tables of the Shewhart chart; from memory."""
    assert shewhart_run_length(3.0, 0.0) == pytest.approx(370.4, abs=0.05)
    assert shewhart_run_length(3.0, 1.0) == pytest.approx(43.9, abs=0.05)


@pytest.mark.parametrize("shift", [1.0, 2.0])
def test_with_a_long_reference_the_program_finds_changes_as_fast_as_the_quadrature_says(shift: float):
    """The program counts a score beyond 3 as 3, which matters little here."""
    random = np.random.default_rng(5)
    found = [found_after(500, shift, 40, random)[0] for _ in range(100)]
    expected = varying_run_length(EWMA_WEIGHT, EWMA_SIGMAS, shift)
    assert np.mean(found) == pytest.approx(expected, abs=4 * np.std(found) / len(found) ** 0.5 + 0.2)


def test_the_study_counts_rooms_in_its_columns():
    lines = list(table(6, np.random.default_rng(1)))
    assert lines[0].startswith("6 rooms")
    shifted = next(line.split() for line in lines[2:] if line.split()[:2] == ["30", "4.0"])
    assert (int(shifted[3]) <= 5, float(shifted[4])) == (True, 100.0)

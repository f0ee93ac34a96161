import math

import pytest

from app.compute.sound.levels import background_correction, energy_mean, energy_sum, level_at_distance


def test_correcting_undoes_the_sum_with_the_background():
    alone, room = 41.3, 35.0
    together = energy_sum([alone, room])
    assert background_correction(together, room, "ISO 3746").level_db == pytest.approx(alone)


def test_without_a_background_the_level_is_an_upper_bound():
    found = background_correction(42.0, None, "ISO 3744")
    assert (found.finding, found.level_db, found.difference_db) == ("upper bound", 42.0, None)
    assert found.sentence == "At most 42.0 dB: the background level with the unit off was not measured."


def test_a_background_above_the_unit_is_an_upper_bound_and_no_crash():
    assert background_correction(34.0, 35.0, "ISO 3746").finding == "upper bound"


def test_the_sentence_says_what_was_done():
    assert background_correction(40.0, 20.0, "ISO 3744").sentence == (
        "The background is 20.0 dB lower, so ISO 3744 applies no correction."
    )
    assert background_correction(40.0, 33.0, "ISO 3744").sentence == (
        "1.0 dB subtracted for the background by ISO 3744; the background is 7.0 dB lower."
    )
    assert background_correction(40.0, 37.0, "ISO 1996-2").sentence.endswith("ISO 1996-2 needs more than 3 dB.")


def test_equal_levels_have_their_own_mean():
    assert energy_mean([40.0, 40.0, 40.0]) == pytest.approx(40.0)


def test_there_and_back_changes_nothing_and_stays_an_estimate():
    there = level_at_distance(50.0, 1.0, 3.0)
    back = level_at_distance(there.level_db, 3.0, 1.0)
    assert back.level_db == pytest.approx(50.0)
    assert there.estimate
    assert back.estimate


def test_the_same_distance_is_no_estimate():
    assert not level_at_distance(50.0, 1.5, 1.5).estimate


def test_an_unknown_rule_lists_the_known_ones():
    with pytest.raises(ValueError, match=r"'ISO 9999' is not known; choose one of ISO 3744, ISO 3746, ISO 1996-2"):
        background_correction(40.0, 30.0, "ISO 9999")


def test_levels_that_are_no_numbers_are_refused():
    with pytest.raises(ValueError, match=r"levels are nan and 30.0 dB; both must be numbers"):
        background_correction(math.nan, 30.0, "ISO 3744")
    with pytest.raises(ValueError, match=r"levels are \[\] dB; one or more numbers are needed"):
        energy_sum([])
    with pytest.raises(ValueError, match="one or more numbers are needed"):
        energy_mean([40.0, math.inf])


@pytest.mark.parametrize("distances", [(0.0, 1.0), (1.0, -2.0)])
def test_distances_of_zero_or_less_are_refused(distances):
    with pytest.raises(ValueError, match=r"distances are .* m; both must be above zero"):
        level_at_distance(40.0, *distances)

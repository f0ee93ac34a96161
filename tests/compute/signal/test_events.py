"""Curves that are not one exponential: each kind is detected and located, and single exponentials cause no false
positives.
"""

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.decay.systematic import parts_of
from app.compute.wording.notes import Note
from tests.studies.simulated_trial import autocorrelated_noise

HOURS = np.arange(0.0, 1.5, 10 / 3600)


def noted(curve: np.ndarray, seed: int, **marks: float) -> tuple[ChannelDecay, Note | None]:
    level = np.round(curve * (1 + 0.03 * autocorrelated_noise(np.random.default_rng(seed), curve.size, 0.8)))
    decay = analyse_decay(
        3600 * HOURS, level, channel="pm2_5", unit="µg/m³", marks=Marks(**{"unit_on_h": 0.0, **marks})
    )
    return decay, next((note for note in decay.notes if note.code == "not_one_exponential"), None)


def with_rate(rates: np.ndarray) -> np.ndarray:
    """Level over a background of 5 when the rate changes with time."""
    passed = np.concatenate([[0.0], np.cumsum(rates[:-1] * np.diff(HOURS))])
    return 5 + 300 * np.exp(-passed)


@pytest.mark.parametrize("seed", range(4))
def test_a_higher_speed_from_the_24th_minute_is_seen_there(seed):
    decay, note = noted(with_rate(np.where(HOURS < 0.4, 2.0, 5.0)), seed)
    assert note is not None
    assert note.at_min == pytest.approx(24, abs=3)
    assert note.value == pytest.approx(1.5, rel=0.25)
    assert note.severity == "unusable"
    assert "faster (a change of speed, an opened door, or a changed background)." in note.message
    assert note.advice.action == "set_end_or_start"
    assert note.advice.value == pytest.approx(60 * decay.unit_on_h + note.at_min, abs=0.11)
    assert not decay.usable


def test_the_segment_before_the_change_gives_its_own_rate():
    curve = with_rate(np.where(HOURS < 0.4, 2.0, 5.0))
    _, note = noted(curve, 1)
    decay, after = noted(curve, 1, end_h=note.advice.value / 60)
    assert after is None
    # the level does not fall to the background within the segment, so one known beforehand is needed
    assert decay.fit.decay_rate.low_95 < 2.0 < decay.fit.decay_rate.high_95


@pytest.mark.parametrize("seed", range(4))
def test_a_second_puff_of_smoke_is_seen_where_it_came(seed):
    puff = np.where(HOURS > 0.5, 60 * np.exp(-3 * (HOURS - 0.5)), 0)
    _, note = noted(5 + 300 * np.exp(-3 * HOURS) + puff, seed)
    assert note is not None
    assert note.at_min == pytest.approx(30, abs=2)
    assert "jumps up by" in note.message
    assert "(a second source, or people in the room)" in note.message


@pytest.mark.parametrize("seed", range(4))
def test_a_door_open_for_eight_minutes_is_seen(seed):
    open_door = (HOURS > 0.4) & (HOURS < 0.4 + 8 / 60)
    _, note = noted(with_rate(np.where(open_door, 9.0, 3.0)), seed)
    assert note is not None
    assert note.at_min == pytest.approx(25, abs=4)
    assert "the logger was moved, or air was let in)" in note.message


@pytest.mark.parametrize("seed", range(4))
def test_two_rooms_are_seen_as_two_rates(seed):
    _, note = noted(5 + 300 * (0.7 * np.exp(-5 * HOURS) + 0.3 * np.exp(-HOURS)), seed)
    assert note is not None
    assert "is not a single exponential: " in note.message


def test_mixing_that_is_not_finished_is_seen_in_most_trials():
    found = [noted(5 + 300 * (np.exp(-3 * HOURS) + 0.5 * np.exp(-25 * HOURS)), seed)[1] for seed in range(24)]
    places = [note.at_min for note in found if note is not None]
    assert len(places) >= 18
    assert np.median(places) < 20


def test_smoke_that_still_comes_is_told_as_a_slow_start():
    _, note = noted(5 + 300 * (np.exp(-3 * HOURS) - 0.6 * np.exp(-14 * HOURS)), 1, fit_start_h=0.0)
    assert note is not None
    assert note.severity == "unusable"


def test_a_wavering_that_is_not_a_change_of_rate_is_left_alone_in_98_of_100_single_exponentials():
    found = [noted(5 + 300 * np.exp(-3 * HOURS), seed)[1] for seed in range(100)]
    assert sum(note is not None for note in found) <= 2


def test_a_moving_background_moves_the_rate_between_windows_and_that_is_in_the_uncertainty():
    decay, _ = noted(with_rate(np.where(HOURS < 0.4, 2.0, 5.0)), 2)
    fit = decay.fit
    assert fit.window_sensitivity_per_h > fit.statistical_uncertainty_per_h
    budget = parts_of(fit)
    assert budget.window == pytest.approx(fit.window_sensitivity_per_h)
    assert fit.decay_rate.uncertainty > np.hypot(fit.window_sensitivity_per_h, fit.statistical_uncertainty_per_h)
    note = next(note for note in decay.notes if note.code == "window_sensitivity")
    assert "This is included in the uncertainty" in note.message


def test_smoke_that_comes_a_little_late_widens_the_interval_before_it_is_noted():
    """3 per h, and smoke that still comes for some minutes; the interval is wider by the change over other windows."""
    widened = {}
    for late in (0.0, 0.06):
        found = [noted(5 + 300 * (np.exp(-3 * HOURS) - late * np.exp(-10 * HOURS)), seed)[0] for seed in range(13)]
        assert not [note for decay in found for note in decay.notes if note.code == "window_sensitivity"]
        widened[late] = sum(parts_of(decay.fit).window > 0 for decay in found)
        assert all(decay.fit.decay_rate.low_95 < 3.0 < decay.fit.decay_rate.high_95 for decay in found)
    assert widened[0.0] <= 1
    assert widened[0.06] >= 3

"""Which repeated values are held by the logger, and which are readings of a sensor at rest.

The levels are made with a known rule; the seed stands in each test.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reading_files.table.held_values import find_held, leave_out_held


def held(levels: np.ndarray, period: int, start: int = 3) -> np.ndarray:
    """Each level repeated for a period, the first one for `start` rows."""
    return np.concatenate([np.full(start, levels[0]), np.repeat(levels[1:], period)])


def decay(readings: int, step_h: float, rate_per_h: float = 3.0, floor: float = 4.0) -> np.ndarray:
    """Whole numbers of an exponential decay."""
    return np.rint(floor + 300 * np.exp(-rate_per_h * step_h * np.arange(readings)))


@pytest.mark.parametrize("period", [2, 3, 5, 10, 16, 30, 60])
def test_values_held_for_a_fixed_period_are_found(period):
    levels = np.cumsum(np.random.default_rng(period).integers(1, 9, 60)).astype(float)
    rows = held(levels, period)
    found = find_held([rows])
    assert found is not None
    assert found.period_rows == period
    assert len(found.wake_ups) == 59
    kept, counts, notes = leave_out_held({"pm2_5": rows}, 60.0)
    there = np.flatnonzero(~np.isnan(kept["pm2_5"]))
    assert there.tolist() == list(range(3, 3 + 59 * period, period))
    assert (kept["pm2_5"][there] == levels[1:]).all()
    assert counts == {"pm2_5": len(rows) - 59}
    assert f"a true reading comes about every {period} min" in notes[0]


def test_readings_that_come_out_the_same_do_not_hide_the_period():
    levels = decay(40, 16 / 60)  # ends in twenty equal values: no change at all shows there
    levels[12:40:2] += 1
    assert find_held([held(levels, 16)]) is not None


def test_the_channels_of_one_sensor_are_looked_at_together():
    """PM1 alone changes too seldom at the floor; together with PM10 each wake-up shows."""
    random = np.random.default_rng(8)
    pm1, pm10 = random.integers(3, 5, 40).astype(float), random.integers(5, 9, 40).astype(float)
    kept, counts, _ = leave_out_held({"pm1": held(pm1, 16), "pm10": held(pm10, 16)}, 60.0)
    assert set(counts) == {"pm1", "pm10"}
    assert (~np.isnan(kept["pm1"])).sum() == (~np.isnan(kept["pm10"])).sum() >= 30


def test_another_sensor_keeps_its_values():
    pm = held(np.random.default_rng(2).integers(0, 99, 30).astype(float), 16)
    voc = 0.1 + 0.001 * np.arange(len(pm))
    kept, counts, _ = leave_out_held({"pm2_5": pm, "voc": voc, "temperature": np.full(len(pm), 21.0)}, 60.0)
    assert set(counts) == {"pm2_5"}
    assert not np.isnan(kept["voc"]).any()
    assert not np.isnan(kept["temperature"]).any()


@pytest.mark.parametrize("seed", range(20))
def test_whole_numbers_at_a_plateau_are_readings(seed):
    """A level near 4 with noise below one step: it repeats for long, and changes at no regular times."""
    random = np.random.default_rng(seed)
    slow = 4 + 0.6 * np.sin(np.arange(600) / 40 + seed)
    levels = {
        "pm1": np.rint(slow + random.normal(0, 0.15, 600)),
        "pm2_5": np.rint(slow + random.normal(0, 0.15, 600) + 1),
    }
    assert find_held(list(levels.values())) is None


@pytest.mark.parametrize("seed", range(20))
def test_a_decay_in_whole_numbers_is_no_held_log(seed):
    random = np.random.default_rng(seed)
    truth = 3 + 250 * np.exp(-6 * np.arange(1200) / 1200)
    rows = np.rint(truth * (1 + random.normal(0, 0.004, 1200)))
    assert find_held([rows, np.rint(rows * 0.8)]) is None


def test_a_smooth_decay_without_noise_is_no_held_log():
    """The steps of a rounded exponential come ever later: at no period."""
    assert find_held([np.rint(3 + 80 * np.exp(-5 * np.arange(3000) / 3000))]) is None


def test_zero_for_hours_is_a_reading_each_time():
    assert find_held([np.concatenate([[5.0, 3, 1], np.zeros(500), [1.0, 2, 4, 5, 7]])]) is None
    assert find_held([np.zeros(100)]) is None


def test_values_that_change_each_row_are_readings():
    assert find_held([np.random.default_rng(1).normal(50, 5, 300)]) is None


def test_too_few_rows_tell_nothing():
    assert find_held([held(np.arange(5.0), 3)]) is None
    assert leave_out_held({}, 1.0) == ({}, {}, [])
    assert leave_out_held({"pm1": np.full(4, np.nan)}, 1.0)[1] == {}


def test_rows_without_the_sensor_are_no_part_of_its_period():
    levels = np.random.default_rng(3).integers(0, 99, 30).astype(float)
    rows = held(levels, 10)
    sparse = np.full(3 * len(rows), np.nan)
    sparse[::3] = rows
    kept, counts, _ = leave_out_held({"pm2_5": sparse}, 20.0)
    assert (~np.isnan(kept["pm2_5"])).sum() == len(np.unique(np.flatnonzero(np.diff(rows))))
    assert counts["pm2_5"] == len(rows) - (np.diff(rows) != 0).sum()


@settings(max_examples=150, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), chance=st.floats(0.02, 0.5), rows=st.integers(40, 800))
def test_changes_at_random_times_are_never_taken_for_a_period(seed, chance, rows):
    random = np.random.default_rng(seed)
    levels = np.cumsum(random.random(rows) < chance).astype(float)
    assert find_held([levels]) is None

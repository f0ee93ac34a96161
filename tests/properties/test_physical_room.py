"""The physical simulator of the studies against closed solutions and the properties that its noise is to have."""

import math

import numpy as np
import pytest

from tests.studies.physical_room import (
    Room,
    Run,
    Sensor,
    flicker_noise,
    noise_with_memory,
    physical_trial,
    sensor_readings,
    zone_levels,
)
from tests.studies.unit_on import drawn_trial

RUN = Run(smoke_start_min=5, smoke_end_min=8, unit_on_min=12, end_min=60, clean_air_m3_per_h=120.0)
EXACT = Sensor(interval_s=1.0, response_s=0.0, resolution=1e-9, relative_noise=0.0, floor_noise=0.0)


def test_one_zone_follows_the_closed_solution_of_the_mass_balance():
    """V dC/dt = S + λ V (C_in - C) - β V C - Q C, with one rate before unit on and another after."""
    room = Room(zone_shares=(1.0,))
    time_s = np.arange(0.0, 3601.0)
    level = zone_levels(time_s, room, RUN)[:, 0]
    off = room.air_change_per_h + room.deposition_per_h
    on = off + RUN.clean_air_m3_per_h / room.volume_m3
    steady = room.air_change_per_h * room.incoming / off
    per_h = RUN.rise / (3 / 60)
    peak = steady + per_h / off * (1 - math.exp(-off * 3 / 60))
    at_on = steady + (peak - steady) * math.exp(-off * 4 / 60)
    floor = room.air_change_per_h * room.incoming / on
    assert level[300] == pytest.approx(steady)
    assert level[480] == pytest.approx(peak)
    assert level[720] == pytest.approx(at_on)
    assert level[3600] == pytest.approx(floor + (at_on - floor) * math.exp(-on * 48 / 60))


def test_mixing_keeps_the_mass_and_ends_in_one_level():
    room = Room(zone_shares=(0.1, 0.3, 0.6), air_change_per_h=0.0, deposition_per_h=1e-9, exchange_m3_per_h=300.0)
    levels = zone_levels(np.arange(0.0, 5401.0), room, Run(1, 2, 1e6, 90, 0.0, rise=100.0))
    mean = levels @ np.array(room.zone_shares)
    assert mean[180:] == pytest.approx(100.0, rel=1e-4)
    assert levels[180, 0] > 1.2 * levels[180, 2]
    assert np.ptp(levels[-1]) < 0.01


@pytest.mark.parametrize("zones", [(1.0,), (0.2, 0.8)])
def test_after_mixing_the_logger_sees_the_sum_of_all_losses(zones):
    trial = physical_trial(np.random.default_rng(1), Room(zone_shares=zones, incoming=0.0), RUN, EXACT)
    level = trial.readings[1200:3000]
    slope = np.polyfit(trial.elapsed_s[1200:3000] / 3600, np.log(level), 1)[0]
    assert -slope == pytest.approx(trial.rate_per_h, rel=1e-3)


def test_drift_of_the_incoming_air_moves_the_background_and_not_the_rate():
    time_s = np.arange(0.0, 4 * 3600.0)
    drifting = Room(zone_shares=(1.0,), incoming_drift_per_h=2.0)
    still = Room(zone_shares=(1.0,))
    run = Run(5, 8, 12, 240, 0.0)
    moved = (zone_levels(time_s, drifting, run) - zone_levels(time_s, still, run))[:, 0]
    loss = still.air_change_per_h + still.deposition_per_h
    hours = time_s[-1] / 3600
    lagged = hours - (1 - math.exp(-loss * hours)) / loss
    assert moved[-1] == pytest.approx(2.0 * still.air_change_per_h / loss * lagged, rel=1e-3)


def test_smouldering_adds_the_smoke_that_it_is_to_add():
    room = Room(zone_shares=(1.0,), air_change_per_h=0.0, deposition_per_h=1e-9)
    run = Run(5, 8, 1e6, 120, 0.0, rise=100.0, smoulder_share=0.3, smoulder_min=6.0)
    level = zone_levels(np.arange(0.0, 7201.0), room, run)[:, 0]
    assert level[-1] == pytest.approx(100.0 * (1 + 0.3 * 6.0 / 3.0), rel=2e-3)


@pytest.mark.parametrize("memory_s", [5.0, 60.0])
def test_noise_has_its_memory_in_seconds(memory_s):
    noise = noise_with_memory(np.random.default_rng(3), 400_000, memory_s)
    lag = int(memory_s)
    assert np.var(noise) == pytest.approx(1.0, rel=0.05)
    assert np.mean(noise[:-lag] * noise[lag:]) == pytest.approx(math.exp(-1), abs=0.04)


def test_flicker_does_not_average_out_as_white_noise_does():
    flicker = flicker_noise(np.random.default_rng(4), 200_000)
    assert np.var(flicker) == pytest.approx(1.0, rel=0.2)
    means = flicker.reshape(-1, 100).mean(axis=1)
    assert np.var(means) > 0.4  # white noise: 0.01


def test_the_sensor_averages_rounds_loses_and_warms_up():
    time_s = np.arange(0.0, 3601.0)
    ramp = 100.0 + time_s / 10
    _, mean = sensor_readings(np.random.default_rng(5), time_s, ramp, Sensor(60.0, 60.0, 0.0, 1.0, 0.0, 0.0))
    assert mean[10] == round(100.0 + (600 - 29.5) / 10)
    _, lost = sensor_readings(
        np.random.default_rng(5), time_s, ramp, Sensor(1.0, 0.0, 0.0, 1e-9, 0.0, 0.0, coincidence_level=2_000.0)
    )
    assert lost[0] == pytest.approx(100.0 * math.exp(-0.05))
    _, warm = sensor_readings(
        np.random.default_rng(5), time_s, ramp, Sensor(1.0, 0.0, 0.0, 1e-9, 0.0, 0.0, warm_up_share=0.1)
    )
    assert warm[0] == pytest.approx(110.0)
    assert warm[3600] == pytest.approx(460.0 * (1 + 0.1 * math.exp(-6)))


def test_a_log_of_the_study_is_decided_by_its_number_and_clears_after_unit_on():
    first, again, other = (drawn_trial(number)[0] for number in (4, 4, 5))
    assert np.array_equal(first.readings, again.readings)
    assert first.readings.size != other.readings.size
    cleared = first.time_to_clear_min(10.0)
    place = int(60 * (first.unit_on_min + cleared))
    assert cleared > 0
    assert first.true_level[place] <= 10.0 < first.true_level[place - 2]

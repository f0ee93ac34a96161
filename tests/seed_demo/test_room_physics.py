"""The simulated room keeps what a room keeps. Expected values follow from the equations by hand, not from the code."""

import numpy as np
import pytest

from seed_demo.room_physics import Phase, RoomConditions, saturated_vapour, simulate_room, total_decay

CLEAN_OUTDOORS = (0.0, 0.0, 0.0)


def room(**changed: object) -> RoomConditions:
    return RoomConditions(**({"volume_m3": 40.0, "air_change_per_h": 0.2} | changed))  # type: ignore[arg-type]


def test_the_total_decay_is_the_sum_of_its_losses():
    """Mass balance of a well-mixed room: 0.2 + 0.08 + 100/40 for the fine class, 0.2 + 1.2 + 100/40 for the coarse."""
    assert total_decay(room(), 0, 100.0) == pytest.approx(2.78)
    assert total_decay(room(), 2, 100.0) == pytest.approx(3.9)


def test_mixed_smoke_falls_at_the_total_decay():
    history = simulate_room(
        room(outdoor_ug_m3=CLEAN_OUTDOORS),
        (Phase(0.1, emission_ug_per_h=(1e5, 0.0, 0.0)), Phase(1.0), Phase(1.0, clean_air_m3_per_h=(100.0, 0.0, 0.0))),
    )
    level = history.level("pm1")
    empty = -np.log(level[3900] / level[3000]) / 0.25  # from 50 to 65 minutes, long after mixing
    running = -np.log(level[6000] / level[5100]) / 0.25
    assert empty == pytest.approx(0.28, rel=1e-4)
    assert running == pytest.approx(2.78, rel=1e-4)


def test_smoke_is_neither_made_nor_lost_in_a_tight_room():
    """Without losses the mean level is the smoke given off over the volume, and mixing moves it without loss."""
    tight = room(air_change_per_h=1e-9, deposition_per_h=(0.0, 0.0, 0.0), outdoor_ug_m3=CLEAN_OUTDOORS)
    history = simulate_room(tight, (Phase(0.1, emission_ug_per_h=(1e5, 2e4, 1e3)), Phase(2.0)))
    assert history.mean_ug_m3[:, -1] == pytest.approx([1e4 / 40, 2e3 / 40, 1e2 / 40], rel=1e-6)
    assert history.size_classes_ug_m3[:, -1] == pytest.approx(history.mean_ug_m3[:, -1], rel=1e-6)


def test_a_steady_source_ends_at_source_over_losses():
    """Steady state of the mass balance: C = S/V/k + λ p Co / k."""
    history = simulate_room(
        room(exchange_m3_per_h=1e6),
        (Phase(40.0, emission_ug_per_h=(8000.0, 0.0, 0.0), clean_air_m3_per_h=(60.0, 60.0, 60.0)),),
        step_s=60.0,
    )
    losses = 0.2 + 0.08 + 60.0 / 40.0
    assert history.level("pm1")[-1] == pytest.approx(8000 / 40 / losses + 0.2 * 0.8 * 5.0 / losses, rel=1e-3)


def test_the_run_begins_at_the_background_that_infiltration_keeps_up():
    history = simulate_room(room(), (Phase(0.5),))
    assert history.level("pm1") == pytest.approx(np.full(1800, 0.2 * 0.8 * 5.0 / 0.28))


def test_smoke_reaches_the_logger_late():
    """Right after the source stops, the logger reads less than the mean of the room; later the two agree."""
    history = simulate_room(room(), (Phase(0.1, emission_ug_per_h=(1e5, 0.0, 0.0)), Phase(1.0)))
    assert history.size_classes_ug_m3[0, 360] < 0.9 * history.mean_ug_m3[0, 360]
    assert history.size_classes_ug_m3[0, -1] == pytest.approx(history.mean_ug_m3[0, -1], rel=1e-3)


def test_joining_two_phases_is_the_same_as_one_long_phase():
    emission = (5e4, 1e3, 0.0)
    whole = simulate_room(room(), (Phase(0.5, emission_ug_per_h=emission, wet_air_m3_per_h=5.0),))
    parts = simulate_room(
        room(),
        (
            Phase(0.2, emission_ug_per_h=emission, wet_air_m3_per_h=5.0),
            Phase(0.3, emission_ug_per_h=emission, wet_air_m3_per_h=5.0),
        ),
    )
    assert parts.level("pm10") == pytest.approx(whole.level("pm10"), rel=1e-12)
    assert parts.relative_humidity == pytest.approx(whole.relative_humidity, rel=1e-12)


def test_a_washing_unit_raises_the_humidity_and_never_above_saturation():
    history = simulate_room(room(), (Phase(0.2), Phase(50.0, wet_air_m3_per_h=500.0)), step_s=60.0)
    assert history.relative_humidity[0] == pytest.approx(100 * 7.5 / saturated_vapour(np.array([20.5]))[0])
    assert history.relative_humidity[-1] > 90
    assert history.relative_humidity.max() <= 100.0 + 1e-9


def test_volatile_compounds_leave_by_the_air_change_alone():
    history = simulate_room(
        room(outdoor_voc_ppm=0.0), (Phase(0.1, voc_emission_ppm_m3_per_h=400.0), Phase(1.0)), step_s=1.0
    )
    assert -np.log(history.voc_ppm[3960 - 1] / history.voc_ppm[360]) / (3599 / 3600) == pytest.approx(0.2, rel=1e-6)

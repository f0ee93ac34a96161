"""Figures of the simulation studies; `python -m tests.studies.study_figures` writes this file."""

from app.compute.study_shapes import DecayCoverage, EarlyStop, JointRanks, RoomDrift, SmallSamples, TwoRatesPower

COVERAGE = DecayCoverage(
    trials=47960,
    silent_trials=23923,
    silent_percent=96.6,
    noted_percent=94.6,
    one_condition_percent=(95.6, 98.6),
    smallest_group=200,
    lowest_percent=91.1,
    lowest="a reading every 120 s and an autocorrelation of 0.95",
    conditions={
        "rate_per_h": (0.3, 12.0),
        "interval_s": (1.0, 120.0),
        "autocorrelation": (0.0, 0.95),
        "step": (0.1, 1.0),
        "run_min": (20.0, 180.0),
        "background": (0.0, 15.0),
        "before_smoke": (0.0, 1.0),
        "start_level": (100.0, 1000.0),
        "relative_noise": (0.01, 0.06),
    },
)

EARLY_STOP_STUDY = EarlyStop(
    trials=500,
    half_width_percent=5.0,
    stopped=414,
    stopped_percent=96.4,
    median_min=21,
    fixed_min=60.0,
    fixed_percent=98.6,
    ahead_min=10,
    ahead=(0.51, 1.53),
)

POWER = TwoRatesPower(
    run_h=1.5,
    background=5.0,
    excess=300.0,
    noise_percent=3.0,
    highest_autocorrelation=0.95,
    mistaken_percent=(0.0, 7.3),
    detected_percent={
        11: (41.3, 100.0),
        30: (92.0, 100.0),
        120: (92.0, 100.0),
    },
)

JOINT_RANKS = JointRanks(
    units=(10, 25, 70),
    order_percent=(93.3, 100.0),
    ranks_percent=(96.3, 100.0),
)

SMALL_SAMPLES = SmallSamples(
    rates_percent={
        0.5: (97.7, 100.0),
        1.0: (92.8, 96.9),
        2.0: (67.4, 93.8),
    },
    times_percent={
        0.5: (99.2, 100.0),
        1.0: (94.0, 97.9),
        2.0: (70.1, 97.8),
    },
)

ROOM_DRIFT = RoomDrift(
    days=60.0,
    held_or_noted_percent=(91.8, 100.0),
    flat_percent=(12.1, 95.7),
    steady_percent=(93.9, 100.0),
)

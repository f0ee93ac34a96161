"""Figures of the simulation studies; `python -m tests.studies.study_figures` writes this file."""

from app.compute.study_shapes import (
    ControlChartStudy,
    DecayCoverage,
    Disturbances,
    EarlyStop,
    IntervalWidths,
    JointRanks,
    RateEfficiency,
    RoomDrift,
    SmallSamples,
    TwoRatesPower,
    UnitOnFound,
)

COVERAGE = DecayCoverage(
    trials=5996,
    silent_trials=2348,
    silent_percent=96.2,
    noted_percent=96.4,
    one_condition_percent=(92.7, 98.0),
    smallest_group=150,
    lowest_percent=88.6,
    lowest="a memory of 600 s and a background of 5 µg/m³",
    conditions={
        "rate_per_h": (0.3, 12.0),
        "interval_s": (1.0, 120.0),
        "memory_s": (0.0, 600.0),
        "step": (0.1, 1.0),
        "run_min": (20.0, 180.0),
        "background": (0.0, 15.0),
        "before_smoke": (0.0, 1.0),
        "start_level": (100.0, 1000.0),
        "relative_noise": (0.01, 0.06),
    },
    long_memory_min=30.0,
    long_memory_percent=88.2,
)

EARLY_STOP_STUDY = EarlyStop(
    trials=500,
    half_width_percent=5.0,
    stopped=424,
    stopped_percent=96.7,
    median_min=25,
    fixed_min=60.0,
    fixed_percent=97.0,
    ahead_min=10,
    ahead=(0.5, 1.36),
)

POWER = TwoRatesPower(
    run_h=1.5,
    background=5.0,
    excess=300.0,
    noise_percent=3.0,
    highest_autocorrelation=0.95,
    mistaken_percent=(0.0, 7.3),
    detected_percent={
        11: (40.0, 100.0),
        30: (93.3, 100.0),
        120: (92.7, 100.0),
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

EFFICIENCY = RateEfficiency(
    trials_of_cell=40,
    taught=12,
    cells=120,
    required=105,
    pooled_percent=(95.6, 98.5),
    widths={
        "known": IntervalWidths(
            median_ratio=1.08,
            highest_ratio=1.69,
            above=12,
            surely_above=1,
            held_percent=96.5,
            percent=(87.5, 100.0),
            outside=79,
            surely_outside=0,
        ),
        "oracle": IntervalWidths(
            median_ratio=1.11,
            highest_ratio=1.72,
            above=24,
            surely_above=3,
            held_percent=96.8,
            percent=(90.0, 100.0),
            outside=81,
            surely_outside=0,
        ),
        "on before": IntervalWidths(
            median_ratio=1.13,
            highest_ratio=1.71,
            above=18,
            surely_above=2,
            held_percent=96.4,
            percent=(87.5, 100.0),
            outside=86,
            surely_outside=0,
        ),
        "still": IntervalWidths(
            median_ratio=1.31,
            highest_ratio=2.7,
            above=53,
            surely_above=6,
            held_percent=97.9,
            percent=(83.3, 100.0),
            outside=105,
            surely_outside=0,
        ),
        "new": IntervalWidths(
            median_ratio=1.19,
            highest_ratio=2.59,
            above=38,
            surely_above=3,
            held_percent=97.3,
            percent=(75.0, 100.0),
            outside=105,
            surely_outside=0,
        ),
        "clean air of 1": IntervalWidths(
            median_ratio=1.05,
            highest_ratio=1.08,
            above=0,
            surely_above=0,
            held_percent=96.2,
            percent=(94.5, 98.0),
            outside=2,
            surely_outside=0,
        ),
        "clean air of 2": IntervalWidths(
            median_ratio=1.09,
            highest_ratio=1.14,
            above=0,
            surely_above=0,
            held_percent=96.5,
            percent=(95.0, 97.5),
            outside=1,
            surely_outside=0,
        ),
        "clean air of 3": IntervalWidths(
            median_ratio=1.02,
            highest_ratio=1.05,
            above=0,
            surely_above=0,
            held_percent=95.6,
            percent=(93.0, 97.0),
            outside=0,
            surely_outside=0,
        ),
    },
)

DISTURBANCES = Disturbances(
    logs=120,
    rows=29,
    met_percent=(94.2, 100.0),
    missed=(),
    hidden=(
        "coincidence, 10 % at the start at 3 per h (63.3 %)",
        "smoulders on, 20 %, 5 min at 8 per h (54.2 %)",
        "smoulders on, 20 %, 15 min at 8 per h (70 %)",
        "coincidence, 10 % at the start at 8 per h (61.7 %)",
    ),
)

CONTROL_CHART = ControlChartStudy(
    rooms=1000,
    reference_runs=16,
    runs=50,
    found_within={
        2.0: 24,
        3.0: 6,
        4.0: 3,
    },
    false_percent=7.3,
    false_shift_percent=2.2,
)

UNIT_ON = UnitOnFound(
    logs=280,
    held_percent=96.4,
    late_min=(0.01, 1.36),
    mixing_min=(0.5, 9.0),
)

"""How often the natural decay of a room that drifts holds the truth on the days of the trials.

    python -m tests.studies.few_trials.room_drift > tests/studies/tables/room_drift.txt    # about two minutes

Campaigns of 60 days with known truth: a level that drifts, a deviation on each day, and a normal error of each fit
whose size the fit knows from 15 degrees of freedom. Trials fall on any day. "Level" is the room's level on the day of a
trial, "day" the decay of that one day. "Flat" is the random-effects mean over all runs, whatever their days, for
comparison.
Nothing here is published; the figures describe this program. Small versions run with the tests.
"""

import argparse
from collections.abc import Callable

import numpy as np

from app.compute.clean_air.empty_room_runs import Limits, TrialConditions, choose_runs
from app.compute.clean_air.natural_decay import (
    DayAsked,
    EmptyRoomRun,
    nearest_runs,
    pool_natural_decays,
)
from app.compute.statistics.measured import Measured
from app.compute.statistics.random_effects import random_effects

SEED = 20_260_415
DAYS = 60.0
LEVEL, FIT, FIT_DEGREES = 0.5, 0.04, 15
TRIALS = 6

Random = np.random.Generator
Drift = Callable[[Random], Callable[[np.ndarray], np.ndarray]]


def _walk(random: Random, monthly: float) -> Callable[[np.ndarray], np.ndarray]:
    steps = np.concatenate([[0.0], np.cumsum(random.normal(0, monthly / np.sqrt(30), int(DAYS) + 1))])
    return lambda day: 1 + np.interp(day, np.arange(steps.size), steps)


DRIFTS: dict[str, Drift] = {
    "none": lambda _: lambda day: np.ones_like(day),
    "rises by 20 %": lambda _: lambda day: 1 + 0.2 * day / DAYS,
    "falls by 20 %": lambda _: lambda day: 1 - 0.2 * day / DAYS,
    "rises by 50 %": lambda _: lambda day: 1 + 0.5 * day / DAYS,
    "falls by 50 %": lambda _: lambda day: 1 - 0.5 * day / DAYS,
    "doubles": lambda _: lambda day: 1 + day / DAYS,
    "walks, 15 % a month": lambda random: _walk(random, 0.15),
}
RUNS: dict[str, Callable[[Random], np.ndarray]] = {
    "4 in the first 5 days": lambda random: random.uniform(0, 5, 4),
    "8 in the first 5 days": lambda random: random.uniform(0, 5, 8),
    "3 early, 3 late": lambda random: np.concatenate([random.uniform(0, 5, 3), random.uniform(55, 60, 3)]),
    "8 at any time": lambda random: random.uniform(0, DAYS, 8),
    "1 at any time": lambda random: random.uniform(0, DAYS, 1),
}


def coverage(runs: str, drift: str, between: float, campaigns: int, random: Random) -> dict[str, float]:
    """Shares held, and mean half-widths relative to the truth; between : spread from day to day, relative."""
    rows = []
    for _ in range(campaigns):
        level = DRIFTS[drift](random)
        days = np.sort(RUNS[runs](random))
        own = FIT * LEVEL * np.sqrt(random.chisquare(FIT_DEGREES, days.size) / FIT_DEGREES)
        seen = LEVEL * (level(days) * (1 + random.normal(0, between, days.size)) + random.normal(0, FIT, days.size))
        empty = [
            EmptyRoomRun(number, Measured(float(k), float(u), FIT_DEGREES), float(day))
            for number, (k, u, day) in enumerate(zip(seen, own, days, strict=True))
        ]
        trials = random.uniform(0, DAYS, TRIALS)
        asked = [DayAsked(day, nearest_runs(empty, day)) for day in trials.tolist()]
        chosen = choose_runs(empty, [TrialConditions(day) for day in trials.tolist()], Limits(180))
        flat = random_effects(seen.tolist(), own.tolist()) if days.size > 2 else None
        for day, found, choice in zip(trials.tolist(), pool_natural_decays(asked), chosen, strict=True):
            truth = LEVEL * float(level(np.array(day)))
            on_day = truth * (1 + random.normal(0, between))
            noted = any(note.code == "natural_decay_far_in_time" for note in choice.notes)
            held = found.natural_decay.low_95 <= truth <= found.natural_decay.high_95
            held_day = found.on_one_day.low_95 <= on_day <= found.on_one_day.high_95
            held_flat = np.nan
            if flat is not None:
                of_flat = Measured(flat.mean, flat.uncertainty, flat.degrees_of_freedom)
                held_flat = float(of_flat.low_95 <= truth <= of_flat.high_95)
            wide = (
                found.natural_decay.expanded_uncertainty_95 / truth,
                found.on_one_day.expanded_uncertainty_95 / truth,
            )
            rows.append((held, held_day, held or noted, held_day or noted, held_flat, *wide))
    names = ("level", "day", "level_or_noted", "day_or_noted", "flat", "level_width", "day_width")
    return dict(zip(names, np.mean(np.array(rows, dtype=float), axis=0).tolist(), strict=True))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--campaigns", type=int, default=150)
    campaigns = parser.parse_args().campaigns
    random = np.random.default_rng(SEED)
    print("Output of: python -m tests.studies.few_trials.room_drift\n")
    print(f"{campaigns} campaigns of {TRIALS} trials each; inside in %, half-widths in % of the truth")
    print(f"{'empty-room runs':24}{'drift over 60 days':22}{'days':>5}", end="")
    for name in ("level", "day", "held or noted: level", "day", "flat", "width: level", "day"):
        print(f"  {name}", end="")
    print()
    for between in (0.10, 0.25):
        for runs in RUNS:
            for drift in DRIFTS:
                found = coverage(runs, drift, between, campaigns, random)
                cells = [100 * found[name] for name in ("level", "day", "level_or_noted", "day_or_noted", "flat")]
                shown = "".join(f"{cell:7.1f}" if np.isfinite(cell) else "      –" for cell in cells)
                widths = "".join(f"{100 * found[name]:7.0f}" for name in ("level_width", "day_width"))
                print(f"{runs:24}{drift:22}{100 * between:4.0f}%{shown}{widths}", flush=True)


if __name__ == "__main__":
    main()

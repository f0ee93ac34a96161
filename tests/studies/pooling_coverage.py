"""How often the pooled intervals hold the truth: natural decay over runs, decay rates over repeated trials.

    python -m tests.studies.pooling_coverage            # full size, a few minutes
    python -m tests.studies.pooling_coverage --trials 500

Simulated benches with known truth: each run has the true rate of its room, a normal deviation of its day, and a normal
error of its fit whose size the fit knows only from 15 degrees of freedom. Nothing here is published; the figures
describe this program. Small versions run with the tests (tests/properties/test_pooling_coverage.py).
"""

import argparse

import numpy as np

from app.compute.clean_air.natural_decay import EmptyRoomRun, pool_natural_decay
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability, pooled_repeatability
from app.compute.statistics.repeats import combine_trials

FIT_DEGREES = 15
NATURAL = 0.5
SEED = 20_260_302


def seen_rate(random: np.random.Generator, truth: float, between_sd: float, fit_sd: float) -> Measured:
    """One run: true rate, deviation of the day, error of the fit, and the fit's own idea of its error."""
    known = fit_sd * np.sqrt(random.chisquare(FIT_DEGREES) / FIT_DEGREES)
    return Measured(float(random.normal(truth, between_sd) + random.normal(0, fit_sd)), float(known), FIT_DEGREES)


def natural_decay_coverage(
    runs: int, between_over_fit: float, unequal: float, trials: int, random: np.random.Generator
) -> tuple[float, float]:
    """Share of pooled intervals that hold the true natural decay, and their mean half-width over the truth.

    unequal : standard deviation of the logarithm of the fit errors from run to run
    """
    covered, width, fit_sd = 0, 0.0, 0.02
    between = between_over_fit * fit_sd
    # what the bench knows of its rooms, from twenty degrees of freedom
    lent = Repeatability(between / NATURAL, 20.0, 10, 30, "simulated")
    for _ in range(trials):
        sizes = fit_sd * np.exp(unequal * random.normal(size=runs))
        seen = [EmptyRoomRun(n, seen_rate(random, NATURAL, between, size), float(n)) for n, size in enumerate(sizes)]
        pooled = pool_natural_decay(seen, between_runs=lent).natural_decay
        covered += pooled.low_95 <= NATURAL <= pooled.high_95
        width += pooled.expanded_uncertainty_95 / NATURAL
    return covered / trials, width / trials


def repeats_coverage(
    units: int, unlike: float, unequal: float, benches: int, random: np.random.Generator
) -> dict[int, tuple[float, float]]:
    """By number of repeats: share of combined intervals that hold the unit's true rate, and their mean half-width.

    unlike : standard deviation of the logarithm of the between-trial spread from unit to unit (0: all units alike)
    unequal : standard deviation of the logarithm of the fit errors from trial to trial
    """
    found: dict[int, list[tuple[bool, float]]] = {1: [], 2: [], 3: [], 5: []}
    for _ in range(benches):
        truth = random.uniform(0.8, 9.0, units)
        spread = 0.05 * np.exp(unlike * random.normal(size=units))
        repeats = random.choice([1, 2, 3, 5], size=units, p=[0.2, 0.4, 0.3, 0.1])
        groups = [
            [seen_rate(random, k, s * k, 0.025 * k * np.exp(unequal * random.normal())) for _ in range(n)]
            for k, s, n in zip(truth, spread, repeats, strict=True)
        ]
        bench = pooled_repeatability(groups)
        for k, group in zip(truth, groups, strict=True):
            combined = combine_trials(group, bench).total_decay
            held = combined.low_95 <= k <= combined.high_95
            found[len(group)].append((held, combined.expanded_uncertainty_95 / k))
    return {n: tuple(np.mean(rows, axis=0)) for n, rows in found.items() if rows}


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--trials", type=int, default=4_000)
    trials = arguments.parse_args().trials
    random = np.random.default_rng(SEED)
    print("natural decay: runs, between over fit spread, unequal fits: coverage, half-width")
    cells = []
    for runs in (1, 2, 3, 4, 5, 7, 10):
        for between in (0.0, 1.0, 3.0):
            for unequal in (0.0, 0.3):
                coverage, width = natural_decay_coverage(runs, between, unequal, trials, random)
                if runs >= 3:
                    cells.append(coverage)
                print(f"{runs:4d} {between:6.1f} {unequal:5.1f}   {coverage:.3f}   {width:.3f}")
    print(f"three runs and more: overall {np.mean(cells):.3f}, lowest cell {min(cells):.3f}, highest {max(cells):.3f}")
    print("repeats: units on the bench, unlike units, unequal fits: coverage (half-width) for 1, 2, 3, 5 trials")
    for units in (8, 25):
        for unlike, unequal in ((0.0, 0.0), (0.3, 0.0), (0.6, 0.0), (0.0, 0.8), (0.3, 0.8)):
            table = repeats_coverage(units, unlike, unequal, max(20, trials * 4 // units), random)
            row = "  ".join(f"{n}: {coverage:.3f} ({width:.3f})" for n, (coverage, width) in table.items())
            print(f"{units:4d} {unlike:5.1f} {unequal:5.1f}   {row}")


if __name__ == "__main__":
    main()

"""Do campaigns reach the precision and the power that a plan promises?

    python -m tests.studies.few_trials.plan_precision > tests/studies/few_trials/plan_precision.txt    # some minutes

Simulated benches with known truth. The spread between trials is drawn for each bench from what the program assumes
of it (scaled inverse chi-square, root mean square 5 %, five degrees of freedom), or is fixed; each trial has a normal
deviation of its own and a normal error of its fit. The room has a deviation on each day and a random walk, both drawn
from the same assumptions. A plan is made from the first trials and empty-room runs; the campaign that it asks for is
simulated and evaluated as the program evaluates it: bench-wide spread, mean of the trials, natural decay of the week,
clean air delivery rate. "Promised" is the half-width that nine campaigns in ten should reach, "goal" the one asked for.
Nothing here is published; the figures describe this program. A small version runs with the tests.
"""

import argparse
import math
from dataclasses import dataclass

import numpy as np

from app.compute.clean_air.natural_decay import (
    ASSUMED_BETWEEN_RUNS,
    EmptyRoomRun,
    pool_natural_decay,
)
from app.compute.clean_air.rate import clean_air_delivery_rate
from app.compute.clean_air.room_history import ASSUMED_DRIFT, DAYS_OF_DRIFT
from app.compute.comparison.difference import compare_clearing_times
from app.compute.planning.natural_ahead import FurtherRuns, RoomAhead, levels_ahead, scaled_levels
from app.compute.planning.power import DifferenceToPlan, fewest_trials, power_by_trials
from app.compute.planning.precision import RateToPlan, fewest_runs
from app.compute.planning.trial_variance import variance_of_trials
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import (
    ASSUMED_BETWEEN_TRIALS,
    UncertainVariance,
    pooled_repeatability,
)
from app.compute.statistics.repeats import combine_trials
from app.compute.statistics.spread_sources import OWN_REPEATS

SEED = 20_260_620
FIT = 0.015  # relative error of a fit
VOLUME = Measured(30.0, 0.3)
EARLIER_DAYS, CAMPAIGN_DAYS = (0.0, 14.0), (40.0, 47.0)
MOST_EMPTY = 6
NONE = Measured(0.0, 0.0)
Random = np.random.Generator


@dataclass(frozen=True, slots=True)
class Case:
    """others : repeats of the other units of the bench; first : trials of the planned unit; rate, natural : [1/h]

    spread : fixed relative spread between trials, None to draw it as the program assumes it
    """

    name: str
    others: tuple[int, ...]
    first: int
    rate: float
    within: float
    natural: float = 0.3
    spread: float | None = None


CASES = (
    Case("no repeats, 1 trial", (1,) * 7, 1, 5.0, 0.05),
    Case("no repeats, 1 trial, wide goal", (1,) * 7, 1, 5.0, 0.08),
    Case("10 repeats, 2 trials", (2,) * 10, 2, 5.0, 0.04),
    Case("24 repeats, 1 trial", (3,) * 12, 1, 5.0, 0.04),
    Case("24 repeats, slow unit", (3,) * 12, 2, 1.5, 0.08),
    Case("24 repeats, spread 3 % fixed", (3,) * 12, 2, 5.0, 0.04, spread=0.03),
)


def spread_of(case: Case, random: Random) -> float:
    """Relative spread between trials of one bench."""
    if case.spread is not None:
        return case.spread
    assumed = ASSUMED_BETWEEN_TRIALS
    scale = UncertainVariance(assumed.relative_sd**2, assumed.degrees_of_freedom).scale
    return math.sqrt(assumed.degrees_of_freedom * scale / random.chisquare(assumed.degrees_of_freedom))


def trials_of(rate: float, number: int, spread: float, random: Random, walk: float = 0.0) -> list[Measured]:
    """walk : change of the room's natural decay since the first day, which the trials contain [1/h]"""
    seen = rate * (1 + random.normal(0, spread, number) + random.normal(0, FIT, number)) + walk
    return [Measured(float(k), FIT * rate) for k in seen]


def room_of(natural: float, random: Random) -> tuple[list[EmptyRoomRun], list[float], tuple[float, float]]:
    """Three earlier empty-room runs; levels of the campaign's days, each with its daily deviation; and how far the
    level has walked by the middle of the earlier days and of the campaign.
    """
    degrees = ASSUMED_BETWEEN_RUNS.degrees_of_freedom
    scale = UncertainVariance(ASSUMED_BETWEEN_RUNS.relative_sd**2, degrees).scale
    daily = natural * math.sqrt(degrees * scale / random.chisquare(degrees))
    drift = natural * ASSUMED_DRIFT * abs(random.standard_t(4.0)) / math.sqrt(2.0)
    days = [*np.linspace(*EARLIER_DAYS, 3), *np.linspace(*CAMPAIGN_DAYS, MOST_EMPTY)]
    steps = np.diff(days, prepend=days[0])
    walk = np.cumsum(random.normal(0, 1, len(days)) * drift * np.sqrt(steps / DAYS_OF_DRIFT))
    levels = natural + walk + random.normal(0, daily, len(days))
    earlier = [EmptyRoomRun(n, _run(float(levels[n]), natural, random), float(days[n])) for n in range(3)]
    return earlier, levels[3:].tolist(), (float(walk[1]), float(walk[3:].mean()))


def _run(level: float, natural: float, random: Random) -> Measured:
    return Measured(float(level + random.normal(0, 0.02 * natural)), 0.02 * natural)


def one_campaign(case: Case, random: Random) -> tuple[int, int, bool, bool, bool] | None:
    """Trials and empty-room runs planned, and whether the campaign reached the promise, the goal, and holds the truth;
    None where nothing had to be planned or runs alone do not reach the goal.
    """
    spread = spread_of(case, random)
    others = [trials_of(random.uniform(2.0, 8.0), number, spread, random) for number in case.others]
    earlier, levels, walks = room_of(case.natural, random)
    own = trials_of(case.rate, case.first, spread, random, walks[0])
    total = combine_trials(own, pooled_repeatability([own, *others])).total_decay
    natural = pool_natural_decay(earlier, day=EARLIER_DAYS[1]).natural_decay
    further = FurtherRuns(CAMPAIGN_DAYS, 0.02 * case.natural, MOST_EMPTY)
    middle = sum(CAMPAIGN_DAYS) / 2
    now = scaled_levels(natural, levels_ahead(earlier, ASSUMED_BETWEEN_RUNS, EARLIER_DAYS[1], further))
    room = RoomAhead(now, levels_ahead(earlier, ASSUMED_BETWEEN_RUNS, middle, further))
    plan = RateToPlan(total.value, variance_of_trials(total, case.first), room, VOLUME)
    needed = fewest_runs(plan, case.within)
    if needed.trials + needed.empty_runs == 0 or needed.assured > case.within:
        return None
    later = own + trials_of(case.rate, needed.trials, spread, random, walks[1])
    places = np.linspace(0, MOST_EMPTY - 1, needed.empty_runs).round().astype(int)
    days = np.linspace(*CAMPAIGN_DAYS, MOST_EMPTY)
    runs = earlier + [
        EmptyRoomRun(10 + n, _run(levels[place], case.natural, random), float(days[place]))
        for n, place in enumerate(places)
    ]
    combined = combine_trials(later, pooled_repeatability([later, *others])).total_decay
    moved = (len(later) - 1) // 2 >= case.first
    level = pool_natural_decay(runs, day=middle if moved else EARLIER_DAYS[1]).natural_decay
    rate = clean_air_delivery_rate(combined, level, VOLUME)
    width = rate.expanded_uncertainty_95 / rate.value
    truth = VOLUME.value * (case.rate - case.natural)
    return (
        needed.trials,
        needed.empty_runs,
        width <= needed.assured,
        width <= case.within,
        rate.low_95 <= truth <= rate.high_95,
    )


def precision_of(case: Case, campaigns: int, random: Random) -> dict[str, float]:
    """Means and shares over the campaigns that had something to plan."""
    found = [one for _ in range(campaigns) if (one := one_campaign(case, random)) is not None]
    if not found:
        return {"planned": 0.0}
    table = np.array(found, dtype=float)
    names = ("trials", "empty", "promised", "goal", "held")
    return {"planned": len(found) / campaigns, **dict(zip(names, table.mean(axis=0).tolist(), strict=True))}


def power_of(case: Case, difference: float, wanted: float, campaigns: int, random: Random) -> dict[str, float]:
    """Share of the campaigns that tell two units apart which differ by so much of their rate, and the mean promise."""
    told, promised, trials = [], [], []
    for _ in range(campaigns):
        spread = spread_of(case, random)
        others = [trials_of(random.uniform(2.0, 8.0), number, spread, random) for number in case.others]
        rates = case.rate, case.rate * (1 - difference)
        own = [trials_of(rate, case.first, spread, random) for rate in rates]
        bench = pooled_repeatability([*own, *others])
        first, second = (variance_of_trials(combine_trials(each, bench).total_decay, case.first) for each in own)
        plan = DifferenceToPlan(first, second, case.rate * difference, NONE, NONE)
        needed = fewest_trials(power_by_trials(plan), wanted)
        if needed is None:
            continue
        # the trials so far are drawn again: the power is that of a campaign, whatever they happened to show
        numbers = case.first + needed.first_trials, case.first + needed.second_trials
        later = [trials_of(rate, number, spread, random) for rate, number in zip(rates, numbers, strict=True)]
        bench = pooled_repeatability([*later, *others])
        combined = [combine_trials(each, bench) for each in later]
        pooled = all(each.between_trial_source != OWN_REPEATS for each in combined)
        compared = compare_clearing_times(combined[0].total_decay, combined[1].total_decay, pooled_spread=pooled)
        told.append(compared.told_apart)
        promised.append(needed.power)
        trials.append(needed.trials)
    return {"trials": float(np.mean(trials)), "promised": float(np.mean(promised)), "told": float(np.mean(told))}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--campaigns", type=int, default=500)
    campaigns = parser.parse_args().campaigns
    random = np.random.default_rng(SEED)
    print("Output of: python -m tests.studies.few_trials.plan_precision\n")
    print("Half-width of the clean air delivery rate: campaigns that had something to plan, mean numbers of trials and")
    print("empty-room runs, and campaigns that reached the promise, reached the goal, and hold the true rate, in %\n")
    print(f"{'bench':32}{'goal':>6}{'planned':>9}{'trials':>8}{'empty':>7}{'promised':>10}{'reached':>9}{'held':>7}")
    for case in CASES:
        cell = precision_of(case, campaigns, random)
        shares = "".join(f"{100 * cell[name]:{wide}.1f}" for name, wide in (("promised", 10), ("goal", 9), ("held", 7)))
        print(
            f"{case.name:32}{100 * case.within:5.0f}%{100 * cell['planned']:9.1f}{cell['trials']:8.1f}"
            f"{cell['empty']:7.1f}{shares}",
            flush=True,
        )
    print("\nTwo units told apart: further trials of both, mean power promised, campaigns that told them apart, in %\n")
    print(f"{'bench':32}{'differ':>7}{'wanted':>8}{'trials':>8}{'promised':>10}{'told':>7}")
    for case in (CASES[0], CASES[2], CASES[3], CASES[5]):
        for difference in (0.05, 0.10):
            cell = power_of(case, difference, 0.9, 2 * campaigns, random)
            print(
                f"{case.name:32}{100 * difference:6.0f}%{90:7.0f}%{cell['trials']:8.1f}{100 * cell['promised']:10.1f}"
                f"{100 * cell['told']:7.1f}",
                flush=True,
            )


if __name__ == "__main__":
    main()

"""How often the intervals of few repeats hold the truth: decay rate, ratio and order of units, median time to clear.

    python -m tests.studies.few_trials.small_samples > tests/studies/tables/small_samples.txt    # a few minutes

Simulated benches with known truth. Each trial has the true rate of its unit, a normal deviation of its own, and a
normal error of its fit that the fit knows from 15 degrees of freedom. For times to clear each trial also has its own
amount of smoke, the clear level is reached at ln(C0/Cc)/k, and a run of fixed length ends some of them. The true
median is that of the setting's times. "Spread" is the true spread between trials, relative to the one that is assumed
(5 % of the rate; for times with 20 % more or less smoke). Nothing here is published; the figures describe this program.
Small versions run with the tests.
"""

import argparse
import math

import numpy as np
from scipy.stats import norm, t

from app.compute.comparison.difference import compare_clearing_times
from app.compute.decay.clearing_of_repeats import ASSUMED_SPREAD_OF_SMOKE, combine_times_to_clear
from app.compute.decay.result import TimeToClear
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import pooled_repeatability
from app.compute.statistics.repeats import combine_trials
from app.compute.statistics.spread_sources import ASSUMED_RELATIVE_SD, OWN_REPEATS

SEED, SEED_OF_UNLIKE = 20_260_416, 20_260_302
FIT_DEGREES = 15
CLEAR_LEVEL = 10.0
ASSUMPTION_DRAWS = 200_000
Random = np.random.Generator
SPREADS = (0.5, 1.0, 2.0)
# repeats of the units of a bench, in turn
BENCHES = {
    "2 units, 1 trial each": [1, 1],
    "8 units, 1 trial each": [1] * 8,
    "2 units, 2 trials each": [2, 2],
    "8 units, 2 trials each": [2] * 8,
    "2 units, 3 trials each": [3, 3],
    "8 units, 3 trials each": [3] * 8,
    "8 units, one with 3": [3, *[1] * 7],
    "8 units, 1 to 3 trials": [1, 2, 3, 1, 2, 3, 1, 2],
}


def _trials(rate: float, repeats: int, spread: float, fit: float, random: Random) -> list[Measured]:
    known = fit * rate * np.sqrt(random.chisquare(FIT_DEGREES, repeats) / FIT_DEGREES)
    seen = rate * (1 + random.normal(0, spread, repeats) + random.normal(0, fit, repeats))
    return [Measured(float(k), float(u), FIT_DEGREES) for k, u in zip(seen, known, strict=True)]


def bench_coverage(
    repeats: list[int], spread: float, fit: float, benches: int, random: Random, *, without_spread: bool = False
) -> dict[str, float]:
    """Shares held by the rates and by the ratios of neighbours, and what stated probabilities are worth.

    spread, fit : true relative spread between trials, and error of a fit
    without_spread : with the uncertainty of the fits alone, for comparison; benches of single trials only
    """
    rates, ratios, sure, widths = [], [], [], []
    for _ in range(benches):
        truth = random.uniform(0.8, 9.0) * (1 + random.uniform(0, 0.25, len(repeats)))
        groups = [_trials(k, n, spread, fit, random) for k, n in zip(truth, repeats, strict=True)]
        bench = pooled_repeatability(groups)
        combined = [combine_trials(group, bench) for group in groups]
        found = [group[0] for group in groups] if without_spread else [one.total_decay for one in combined]
        pooled = [one.between_trial_source != OWN_REPEATS for one in combined]
        for k, rate in zip(truth, found, strict=True):
            rates.append(rate.low_95 <= k <= rate.high_95)
            widths.append(rate.expanded_uncertainty_95 / k)
        for one in range(0, len(found) - 1, 2):
            both = pooled[one] and pooled[one + 1] and not without_spread
            compared = compare_clearing_times(found[one], found[one + 1], pooled_spread=both)
            if compared.ratio is not None:
                ratios.append(compared.ratio.low_95 <= truth[one] / truth[one + 1] <= compared.ratio.high_95)
            probability = compared.probability_first_higher
            if abs(probability - 0.5) >= 0.45:
                right = (truth[one] > truth[one + 1]) == (probability > 0.5)
                sure.append((max(probability, 1 - probability), right))
    stated, right = np.mean(np.array(sure, dtype=float), axis=0) if sure else (math.nan, math.nan)
    return {
        "rate": float(np.mean(rates)),
        "width": float(np.mean(widths)),
        "ratio": float(np.mean(ratios)),
        "stated": float(stated),
        "right": float(right),
    }


def clearing_coverage(
    repeats: int, spread: float, run_length: float, settings: int, random: Random
) -> dict[str, float]:
    """Shares of the intervals of the median that hold it, their half-width, and the share of settings without a median.

    spread : true spread of rate and smoke, relative to the assumed one; run_length : of the run over the true median,
        infinite for runs that always clear
    """
    held, widths, without = [], [], 0
    for _ in range(settings):
        rate, start, own = random.uniform(0.8, 9.0), random.uniform(100, 800), random.uniform(0.005, 0.03)
        starts = start * np.exp(spread * ASSUMED_SPREAD_OF_SMOKE * random.normal(size=repeats))
        rates = rate * (1 + spread * ASSUMED_RELATIVE_SD * random.normal(size=repeats))
        true_times = 60 * np.log(starts / CLEAR_LEVEL) / rates
        truth = 60 * math.log(start / CLEAR_LEVEL) / rate
        seen = true_times * (1 + own * random.normal(size=repeats))
        times = [
            TimeToClear(True, float(time), None, None, CLEAR_LEVEL, float(own * time))
            if time < run_length * truth
            else TimeToClear(False, None, run_length * truth, None, CLEAR_LEVEL)
            for time in seen
        ]
        combined = combine_times_to_clear(times, start_level=float(np.median(starts)))
        low, high = combined.low_95_min, combined.high_95_min
        if combined.median_min is None or low is None or high is None:
            without += 1
            continue
        held.append(low <= truth <= high)
        widths.append((high - low) / 2 / truth)
    return {"held": float(np.mean(held)), "width": float(np.mean(widths)), "without": without / settings}


def seen_rate(random: np.random.Generator, truth: float, between_sd: float, fit_sd: float) -> Measured:
    """One run: true rate, deviation of the day, error of the fit, and the fit's own idea of its error."""
    known = fit_sd * np.sqrt(random.chisquare(FIT_DEGREES) / FIT_DEGREES)
    return Measured(float(random.normal(truth, between_sd) + random.normal(0, fit_sd)), float(known), FIT_DEGREES)


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


def other_assumptions(degrees: float, scale: float, repeats: int, spread: float, random: Random) -> tuple[float, float]:
    """Coverage of the mean of the repeats of one of two alike units, and its half-width relative to that of a known
    spread, with another assumption: a scaled inverse chi-square distribution of these degrees of freedom.

    scale : of the assumption over the one root mean square that is assumed; spread : true spread over the same
    Fits are exact; so the interval is Student's t from the assumption and the scatter of both units.
    """
    own = 2 * (repeats - 1)
    seen = spread**2 * random.chisquare(own, ASSUMPTION_DRAWS) if own else np.zeros(ASSUMPTION_DRAWS)
    half = t.ppf(0.975, degrees + own) * np.sqrt((degrees * scale**2 + seen) / (degrees + own))
    held = np.abs(spread * random.standard_normal(ASSUMPTION_DRAWS)) < half
    return float(held.mean()), float(half.mean() / norm.ppf(0.975))


def widest_below(limit: float, spread: float) -> float:
    """Coverage of a single trial at a true spread, where the interval is as wide as it may be for the assumed spread to
    be covered in no more than the limit. A single trial tells nothing of the spread, so its interval has one width."""
    return float(2 * norm.cdf(norm.ppf((1 + limit) / 2) / spread) - 1)


def _print_other_assumptions(random: Random) -> None:
    print(
        "\nOther assumptions (the program's is the first): degrees of freedom, scale; exact fits, two units. Inside in"
    )
    print(
        "% with the assumed spread and with twice that, half-width with the assumed one over that of a known spread\n"
    )
    print(f"{'degrees':>8}{'scale':>7}" + "".join(f"{f'{n} trials':>22}" for n in (1, 2, 3)))
    for degrees, scale in ((5.0, math.sqrt(3 / 5)), (5.0, 1.0), (2.0, 0.54), (1.5, 0.775), (1.0, 1.0)):
        cells = ""
        for repeats in (1, 2, 3):
            (once, width), (twice, _) = (
                other_assumptions(degrees, scale, repeats, spread, random) for spread in (1.0, 2.0)
            )
            cells += f"{100 * once:10.1f}{100 * twice:6.1f}{width:6.2f}"
        print(f"{degrees:8.1f}{scale:7.2f}{cells}", flush=True)
    print(f"\nOne trial, held in 98 % at the assumed spread: in {100 * widest_below(0.98, 2.0):.1f} % at twice that.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--benches", type=int, default=800)
    benches = parser.parse_args().benches
    random = np.random.default_rng(SEED)
    print("Output of: python -m tests.studies.few_trials.small_samples\n")
    print(
        "Rates and ratios: inside in %, half-width in % of the rate; where the program states a probability of 95 % or"
    )
    print("more for the order of two units, the mean it states and how often it is right, in %\n")
    print(f"{'bench':26}{'fit':>5}{'spread':>8}{'rate':>8}{'width':>8}{'ratio':>8}{'stated':>8}{'right':>8}")
    for name, repeats in BENCHES.items():
        for fit in (0.01, 0.03):
            for spread in SPREADS:
                few = max(60, 2 * benches // len(repeats))
                found = bench_coverage(repeats, spread * ASSUMED_RELATIVE_SD, fit, few, random)
                _print_rates(name, fit, spread, found)
    for fit in (0.01, 0.03):
        found = bench_coverage([1] * 8, ASSUMED_RELATIVE_SD, fit, benches // 4, random, without_spread=True)
        _print_rates("8 units, no spread assumed", fit, 1.0, found)
    print("\nMedian time to clear: inside in %, half-width in % of the median, settings without a median in %\n")
    print(f"{'trials':>6}{'run over median':>17}{'spread':>8}{'inside':>8}{'width':>8}{'none':>8}")
    for repeats in range(1, 9):
        for length in (math.inf, 1.1):
            for spread in SPREADS:
                cell = clearing_coverage(repeats, spread, length, benches, random)
                shown = "any" if math.isinf(length) else f"{length:g}"
                values = "".join(f"{100 * cell[name]:8.1f}" for name in ("held", "width", "without"))
                print(f"{repeats:6d}{shown:>17}{spread:8.1f}{values}", flush=True)
    print(
        "\nUnlike units and fits, spread 1.0 on average: units, standard deviation of the logarithm of the spread and"
    )
    print("of the errors of the fits; coverage (half-width) for 1, 2, 3, 5 trials\n")
    unlike_units = np.random.default_rng(SEED_OF_UNLIKE)
    for units in (8, 25):
        for unlike, unequal in ((0.0, 0.0), (0.3, 0.0), (0.6, 0.0), (0.0, 0.8), (0.3, 0.8)):
            table = repeats_coverage(units, unlike, unequal, max(20, 20 * benches // units), unlike_units)
            row = "  ".join(f"{n}: {coverage:.3f} ({width:.3f})" for n, (coverage, width) in table.items())
            print(f"{units:4d} {unlike:5.1f} {unequal:5.1f}   {row}", flush=True)
    _print_other_assumptions(np.random.default_rng(SEED))


def _print_rates(name: str, fit: float, spread: float, found: dict[str, float]) -> None:
    values = "".join(f"{100 * found[key]:8.1f}" for key in ("rate", "width", "ratio", "stated", "right"))
    print(f"{name:26}{100 * fit:4.0f}%{spread:8.1f}{values}", flush=True)


if __name__ == "__main__":
    main()

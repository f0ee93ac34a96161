"""How often a curve with two rates is seen, and a single exponential mistaken for one, beside the textbook F test.

    python -m tests.studies.intervals.two_rates_power               # full size, writes two_rates_power.txt
    python -m tests.studies.intervals.two_rates_power --trials 50    # smaller; prints the table only

The F test is the extra sum of squares of a second exponential over a single one (background free in both, weights
by the level, residuals taken for independent), at the 1 % level. It is what a text book offers; the table shows
what it costs where the noise drifts from one reading to the next: it calls up to two thirds of the single exponentials
more than one, which is why it is not used although it sees more in eleven readings.
"""

import argparse
from collections.abc import Callable
from itertools import product
from multiprocessing import Pool
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import Marks
from tests.studies.simulated_trial import autocorrelated_noise
from tests.studies.study_figures import write_shipped_figures

Floats = NDArray[np.float64]

READINGS = (11, 30, 120)
AUTOCORRELATIONS = (0.0, 0.5, 0.8, 0.95)
RUN_H, BACKGROUND, EXCESS, RELATIVE_NOISE, STEP = 1.5, 5.0, 300.0, 0.03, 0.1
FULL_TRIALS = 150
SEED = 20_260_301
RESULT = Path(__file__).parents[1] / "tables" / "two_rates_power.txt"

CURVES: dict[str, Callable[[Floats], Floats]] = {
    "one rate, 3 per h": lambda time: np.exp(-3 * time),
    "two rates, 5 and 1.5 per h": lambda time: 0.6 * np.exp(-5 * time) + 0.4 * np.exp(-1.5 * time),
    "two rates, 5 and 1 per h": lambda time: 0.7 * np.exp(-5 * time) + 0.3 * np.exp(-time),
    "two rates, 9 and 1 per h": lambda time: 0.6 * np.exp(-9 * time) + 0.4 * np.exp(-time),
}
_FAST, _SLOW = np.geomspace(0.2, 40.0, 24), np.geomspace(0.05, 20.0, 24)


def f_test(time_h: Floats, level: Floats) -> bool:
    """Whether a second exponential lowers the weighted sum of squares by more than independent noise does, at 1 %."""
    from scipy.optimize import least_squares
    from scipy.stats import f

    sigma = np.maximum(np.abs(level), STEP)

    def left(log_rates: Floats) -> Floats:
        columns = np.column_stack([np.ones_like(time_h), *(np.exp(-np.exp(q) * time_h) for q in log_rates)])
        scaled = columns / sigma[:, None]
        best = np.linalg.lstsq(scaled, level / sigma, rcond=None)[0]
        residual: Floats = level / sigma - scaled @ best
        return residual

    def least(rates: int) -> float:
        starts = [(q,) for q in _FAST] if rates == 1 else [(q, r) for q in _FAST for r in _SLOW if r < 0.7 * q]
        start = min((np.log(s) for s in starts), key=lambda s: float(left(s) @ left(s)))
        return 2 * float(least_squares(left, start).cost)

    freedom = time_h.size - 5
    one, two = least(1), least(2)
    return bool(f.sf((one - two) / 2 / (two / freedom), 2, freedom) < 0.01)


def simulate(case: tuple[str, int, float, int]) -> tuple[bool, bool]:
    """Whether ours and the F test call one simulated trial more than one exponential."""
    curve, readings, autocorrelation, number = case
    rng = np.random.default_rng([SEED, readings, round(100 * autocorrelation), number])
    time = np.linspace(0.0, RUN_H, readings)
    noise = autocorrelated_noise(rng, readings, autocorrelation)
    level = np.round((BACKGROUND + EXCESS * CURVES[curve](time)) * (1 + RELATIVE_NOISE * noise) / STEP) * STEP
    marks = Marks(unit_on_h=0.0, fit_start_h=0.0, fit_end_h=RUN_H)
    decay = analyse_decay(3600 * time, level, channel="pm2_5", unit="µg/m³", marks=marks)
    return any(note.code == "not_one_exponential" for note in decay.notes), f_test(time, level)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=FULL_TRIALS, help="of each line of the table")
    trials = parser.parse_args().trials
    lines = [
        f"python -m tests.studies.intervals.two_rates_power --trials {trials}",
        "",
        f"{RUN_H:g} h, {BACKGROUND:g} + {EXCESS:g} µg/m³, noise {RELATIVE_NOISE:.0%}, {trials} trials a line; "
        "called more than one rate:",
        f"{'curve':<28}{'readings':>9}{'autocorrelation':>17}{'ours %':>9}{'F test %':>10}",
    ]
    with Pool(2) as pool:
        for curve, readings, autocorrelation in product(CURVES, READINGS, AUTOCORRELATIONS):
            cases = [(curve, readings, autocorrelation, number) for number in range(trials)]
            ours, text_book = np.mean(pool.map(simulate, cases, chunksize=10), axis=0)
            lines.append(f"{curve:<28}{readings:>9}{autocorrelation:>17g}{100 * ours:>9.1f}{100 * text_book:>10.1f}")
    print("\n".join(lines))
    if trials == FULL_TRIALS:
        RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
        write_shipped_figures()


if __name__ == "__main__":
    main()

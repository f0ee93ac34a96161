"""How wide the 95 % interval of a decay rate is against the spread of the rates themselves, and how often it holds.

    python -m tests.studies.intervals.rate_efficiency               # full size, writes rate_efficiency.txt
    python -m tests.studies.intervals.rate_efficiency --trials 40   # smaller; prints the table only

Each cell is one rate, one sampling interval (each reading is the mean over it) and one kind of noise, whose memory is
in seconds: ten minutes at the level of an empty room, three of smoke, then the decay until 6/k and 20 min later, or
four hours. The unit's switch-on is marked. The ratio is the median half-width over 1.96 standard deviations (from the
quartiles) of the rates found; 1 is an interval that wastes nothing. A cell in which most trials have the note that
their readings are too few or too far apart is listed, but not required.
"""

import argparse
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import Marks
from tests.studies.physical_room import Sensor, sensor_readings
from tests.studies.simulated_trial import Floats
from tests.studies.study_figures import write_shipped_figures

RATES_PER_H = (0.3, 1.0, 3.0, 6.0, 12.0, 20.0)
INTERVALS_S = (1.0, 10.0, 60.0, 120.0)
NOISES = {
    "memory 5 s": {"memory_s": 5.0},
    "memory 30 s": {"memory_s": 30.0},
    "memory 2 min": {"memory_s": 120.0},
    "memory 10 min": {"memory_s": 600.0},
    "flicker": {"memory_s": 0.0, "flicker": 0.02},
}
TRIALS = 100
SEED = 20_260_611
NATURAL_PER_H, AIR_CHANGE_PER_H, INCOMING, RISE = 0.3, 0.2, 6.0, 400.0
BEFORE_MIN, SMOKE_MIN = 10.0, 3.0
NOTES_ON_SAMPLING = {"too_few_readings", "sampling_too_slow"}
WANTED_RATIO, WANTED_COVERAGE = 1.3, (93.0, 97.0)
HEAD = (
    f"{'k 1/h':>6}{'every s':>8}  {'noise':<14}{'held %':>8}{'ratio':>8}{'error':>9}{'1.96 sd':>9}{'width':>9}"
    f"{'noted':>8}"
)
RESULT = Path(__file__).parents[1] / "tables" / "rate_efficiency.txt"

Case = tuple[float, float, str]


@dataclass(frozen=True, slots=True)
class Cell:
    """Trials of one cell: rate found over the true one − 1, relative half-width, and whether sampling was noted."""

    case: Case
    error: Floats
    half_width: Floats
    noted: float

    @property
    def coverage(self) -> float:
        return 100 * float(np.mean(np.abs(self.error) <= self.half_width))

    @property
    def spread(self) -> float:
        """Standard deviation of the rates, from the quartiles."""
        low, high = np.percentile(self.error, [25, 75])
        return float(high - low) / 1.349

    @property
    def ratio(self) -> float:
        return float(np.median(self.half_width)) / (1.96 * self.spread)

    def line(self) -> str:
        rate, interval, noise = self.case
        shares = (100 * float(np.median(self.error)), 196 * self.spread, 100 * float(np.median(self.half_width)))
        return (
            f"{rate:>6g}{interval:>8g}  {noise:<14}{self.coverage:>8.1f}{self.ratio:>8.2f}"
            + "".join(f"{share:>9.2f}" for share in shares)
            + f"{100 * self.noted:>8.0f}"
        )


def level_s(rate_per_h: float) -> tuple[Floats, Floats, float]:
    """True level each second of one well-mixed room, and the time of unit on [s]."""
    run_s = 3600 * min(6 / rate_per_h + 1 / 3, 4.0)
    on_s = 60 * (BEFORE_MIN + SMOKE_MIN)
    time_s = np.arange(0.0, on_s + run_s + 0.5)
    before, after = (AIR_CHANGE_PER_H * INCOMING / rate for rate in (NATURAL_PER_H, rate_per_h))
    risen = before + RISE * np.clip((time_s - 60 * BEFORE_MIN) / (60 * SMOKE_MIN), 0.0, 1.0)
    decayed = np.exp(-rate_per_h * np.maximum(time_s - on_s, 0.0) / 3600)
    return time_s, np.where(time_s <= on_s, risen, after + (before + RISE - after) * decayed), on_s


def one_trial(case: Case, number: int) -> tuple[float, float, bool]:
    rate, interval, noise = case
    rng = np.random.default_rng([SEED, RATES_PER_H.index(rate), INTERVALS_S.index(interval), number])
    time_s, level, on_s = level_s(rate)
    sensor = Sensor(interval_s=interval, averaging_s=interval, response_s=0.0, **NOISES[noise])
    elapsed_s, readings = sensor_readings(rng, time_s, level, sensor)
    marks = Marks(unit_on_h=on_s / 3600)
    empty = rate <= NATURAL_PER_H
    decay = analyse_decay(elapsed_s, readings, channel="pm2_5", unit="µg/m³", marks=marks, empty_room=empty)
    found = decay.fit.decay_rate if decay.fit else None
    noted = any(note.code in NOTES_ON_SAMPLING for note in decay.notes)
    if found is None:
        return math.inf, 0.0, noted
    return found.value / rate - 1, found.expanded_uncertainty_95 / rate, noted


def cell_of(case: Case, trials: int) -> Cell:
    found = np.array([one_trial(case, number) for number in range(trials)])
    return Cell(case, found[:, 0], found[:, 1], float(found[:, 2].mean()))


def _cell(of: tuple[Case, int]) -> Cell:
    return cell_of(*of)


def all_cells(trials: int, processes: int = 2) -> list[Cell]:
    cases = [(case, trials) for case in itertools.product(RATES_PER_H, INTERVALS_S, NOISES)]
    with Pool(processes) as pool:
        return pool.map(_cell, cases, chunksize=1)


def summary(cells: Sequence[Cell]) -> list[str]:
    required = [one for one in cells if one.noted < 0.5]
    ratios, coverages = ([getattr(one, key) for one in required] for key in ("ratio", "coverage"))
    wide = sum(ratio > WANTED_RATIO for ratio in ratios)
    outside = sum(not WANTED_COVERAGE[0] <= coverage <= WANTED_COVERAGE[1] for coverage in coverages)
    return [
        f"cells without a note on sampling: {len(required)} of {len(cells)}",
        f"ratio: median {np.median(ratios):.2f}, highest {max(ratios):.2f}; above {WANTED_RATIO:g} in {wide} cells",
        f"coverage: mean {np.mean(coverages):.1f} %, {min(coverages):.1f} to {max(coverages):.1f} %; "
        f"outside {WANTED_COVERAGE[0]:g} to {WANTED_COVERAGE[1]:g} % in {outside} cells",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=TRIALS)
    trials = parser.parse_args().trials
    cells = all_cells(trials)
    lines = [
        f"python -m tests.studies.intervals.rate_efficiency --trials {trials}",
        "",
        "held: the interval holds the truth [%]; ratio: median half-width over 1.96 sd of the rates; error: median;",
        "1.96 sd, width: of the rates, and the median half-width [% of the rate]; noted: too few or too slow readings",
        "[%]; the standard error of a share of 95 % is "
        f"{100 * math.sqrt(0.95 * 0.05 / trials):.1f} %, that of a ratio about {100 * 1.17 / math.sqrt(trials):.0f} %",
        "",
        *summary(cells),
        "",
        HEAD,
        *(one.line() for one in cells),
    ]
    print("\n".join(lines))
    if trials == TRIALS:
        RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
        write_shipped_figures()


if __name__ == "__main__":
    main()

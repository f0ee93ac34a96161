"""Coverage of the 95 % interval of runs that were stopped because it was narrow enough.

    python -m tests.studies.early_stop                # full size, writes tables/early_stop.txt
    python -m tests.studies.early_stop --trials 60    # smaller; prints the table only

Each simulated run is looked at every two minutes from the fifth minute of its decay on, and stopped at the first look
at which the half-width of the interval is at most 5 % of the rate. The rule sees the width and nothing else. The
background drifts and the sensor warms up and bends as the program assumes of them. Beside it
is the coverage of the same runs stopped after a fixed time. The last lines compare the half-width that was expected
ten minutes ahead, at the first look without a note, with the one that came.
"""

import argparse
import math
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.live_runs.precision import STOP_AT, expected_half_widths, relative_half_width
from tests.studies.intervals.assumed_disturbances import assumed_disturbances
from tests.studies.simulated_trial import BEFORE_SMOKE_MIN, RISE_MIN, Conditions, simulated_trial
from tests.studies.study_figures import write_shipped_figures

GRID: dict[str, tuple[float, ...]] = {
    "rate_per_h": (0.6, 1.2, 3.0, 6.0, 12.0),
    "interval_s": (1.0, 10.0, 30.0),
    "autocorrelation": (0.0, 0.5, 0.8),
    "step": (0.1, 1.0),
    "background": (0.0, 5.0, 15.0),
    "start_level": (100.0, 300.0, 1000.0),
    "relative_noise": (0.01, 0.03, 0.06),
}
TRIALS = 500
SEED = 20_260_601
RUN_MIN = 120.0
FIRST_LOOK_MIN, LOOK_EVERY_MIN = 5.0, 2.0
FIXED_MIN = 60.0
AHEAD_MIN = 10
UNIT_ON_MIN = BEFORE_SMOKE_MIN + RISE_MIN
LEAST_COVERAGE = 93.0
RESULT = Path(__file__).parent / "tables" / "early_stop.txt"


@dataclass(frozen=True, slots=True)
class Interval:
    """The interval of one run at one moment: whether it holds the truth, and whether the program noted something."""

    inside: bool
    noted: bool
    half_width: float
    error: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run. stopped : at the first look within the limit, None if it never was; fixed : after a fixed time.

    ahead : half-width that came over the one expected ten minutes before; not-a-number where none was
    """

    stopped: Interval | None
    stopped_min: float
    fixed: Interval | None
    ahead: float


def simulate(number: int) -> Outcome:
    """Run of this number; the number alone decides its conditions and noise."""
    rng = np.random.default_rng([SEED, number])
    drawn = {name: float(levels[rng.integers(len(levels))]) for name, levels in GRID.items()}
    conditions = Conditions(**drawn, run_min=RUN_MIN, before_smoke=True, disturbances=assumed_disturbances(rng))
    elapsed_s, levels = simulated_trial(rng, conditions)

    def at(minutes: float) -> ChannelDecay:
        until = int(np.searchsorted(elapsed_s, 60 * (UNIT_ON_MIN + minutes), side="right"))
        marks = Marks(unit_on_h=UNIT_ON_MIN / 60)
        return analyse_decay(elapsed_s[:until], levels[:until], channel="pm2_5", unit="µg/m³", marks=marks)

    stopped, stopped_min, ahead = None, math.nan, math.nan
    for minutes in np.arange(FIRST_LOOK_MIN, RUN_MIN + 1e-9, LOOK_EVERY_MIN):
        decay = at(float(minutes))
        width = relative_half_width(decay)
        noted = any(note.severity != "fine" for note in decay.notes)
        if math.isnan(ahead) and not noted and width is not None and minutes + AHEAD_MIN <= RUN_MIN:
            expected = expected_half_widths(decay)
            later = relative_half_width(at(float(minutes) + AHEAD_MIN)) if expected.size >= AHEAD_MIN else None
            if later is not None:
                ahead = later / float(expected[AHEAD_MIN - 1])
        if width is not None and width <= STOP_AT:
            stopped, stopped_min = _interval(decay, conditions.rate_per_h), float(minutes)
            break
    return Outcome(stopped, stopped_min, _interval(at(FIXED_MIN), conditions.rate_per_h), ahead)


def _interval(decay: ChannelDecay, truth: float) -> Interval | None:
    rate = decay.fit.decay_rate if decay.fit else None
    if rate is None or rate.value <= 0:
        return None
    noted = any(note.severity != "fine" for note in decay.notes)
    half = rate.expanded_uncertainty_95 / rate.value
    return Interval(rate.low_95 <= truth <= rate.high_95, noted, half, rate.value / truth - 1)


def line(name: str, intervals: Sequence[Interval]) -> str:
    if not intervals:
        return f"{name:<44}{0:>7}"
    inside = 100 * np.mean([each.inside for each in intervals])
    error = 100 * np.median([each.error for each in intervals])
    width = 100 * np.median([each.half_width for each in intervals])
    return f"{name:<44}{len(intervals):>7}{inside:>9.1f}{error:>9.2f}{width:>9.2f}"


def report(outcomes: Sequence[Outcome]) -> list[str]:
    """The table, line by line."""
    stopped = [o.stopped for o in outcomes if o.stopped is not None]
    fixed = [o.fixed for o in outcomes if o.fixed is not None]
    same = [o.fixed for o in outcomes if o.fixed is not None and o.stopped is not None]
    lines = ["inside: 95 % interval holds the truth; error: median of k/truth - 1; width: median half-width over k", ""]
    lines += [f"{'cell':<44}{'runs':>7}{'inside %':>9}{'error %':>9}{'width %':>9}"]
    for name, of in (
        (f"stopped within {100 * STOP_AT:g} %", stopped),
        (f"after {FIXED_MIN:g} min", fixed),
        (f"after {FIXED_MIN:g} min, runs that were stopped", same),
    ):
        lines.append(line(name, of))
        lines.append(line(f"{name}, nothing noted", [each for each in of if not each.noted]))
    times = np.array([o.stopped_min for o in outcomes if o.stopped is not None])
    never = sum(o.stopped is None for o in outcomes)
    if times.size:
        low, middle, high = np.quantile(times, [0.1, 0.5, 0.9])
        lines += ["", f"stopped after {middle:.0f} min (10 % within {low:.0f}, 90 % within {high:.0f}); never: {never}"]
    ahead = np.array([o.ahead for o in outcomes if not math.isnan(o.ahead)])
    if ahead.size:
        low, middle, high = np.quantile(ahead, [0.1, 0.5, 0.9])
        lines += [
            f"half-width {AHEAD_MIN} min later over the one expected: {middle:.2f} (10 % below {low:.2f}, 10 % above "
            f"{high:.2f}) in {ahead.size} runs"
        ]
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=TRIALS)
    trials = parser.parse_args().trials
    with Pool(2) as pool:
        outcomes = pool.map(simulate, range(trials), chunksize=5)
    lines = [f"python -m tests.studies.early_stop --trials {trials}", "", *report(outcomes)]
    stopped = [o.stopped for o in outcomes if o.stopped is not None]
    share = 100 * float(np.mean([each.inside for each in stopped]))
    lines += ["", f"required: {LEAST_COVERAGE:g} % or more of the stopped runs"]
    lines += ["met" if share >= LEAST_COVERAGE else "missed"]
    print("\n".join(lines))
    if trials == TRIALS:
        RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
        write_shipped_figures()


if __name__ == "__main__":
    main()

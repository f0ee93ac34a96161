"""How wide the 95 % interval of a decay rate is against the spread of the rates themselves, and how often it holds.

    python -m tests.studies.intervals.rate_efficiency               # full size, writes rate_efficiency.txt
    python -m tests.studies.intervals.rate_efficiency --trials 20   # smaller; prints the table only

Each cell is one rate, one sampling interval (each reading is the mean over it) and one kind of noise, whose memory is
in seconds: ten minutes at the level of an empty room, three of smoke, then the decay until 6/k and 20 min later, or
four hours. The unit's switch-on is marked. The ratio is the median half-width over 1.96 standard deviations of the
rates found; 1 is an interval that wastes nothing. A cell in which most trials have the note that their readings are too
few or too far apart is listed, but not required. A share has its exact interval (`shares.py`), and misses the target
only where that excludes it: 40 trials cannot tell 93 from 97 %, so trials are pooled by rate, sampling and noise too.

The interval allows for a drift of the background, for warm-up and for the sensor's linearity, so these are drawn from
what the program assumes of them ("drawn"). "on before" is the same with a sensor that is on for half an hour before its
log and entered so; in a still room ("still") none of them is there. The logger is known from twelve other trials with
the six rates, and "new" is a logger of which nothing is known. "oracle" is generalised least squares that knows the
noise: where it misses the target too, the noise is not the reason. "clean air" is the rate of one to three repeats
(`clean_air.py`).
"""

import argparse
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.decay.systematic import WARM_UP_H
from app.compute.signal.logger_noise import GENERIC, LoggerNoise, learn
from app.compute.signal.logger_timing import NOT_KNOWN, LoggerTiming
from tests.studies.intervals.assumed_disturbances import assumed_disturbances
from tests.studies.intervals.clean_air import BENCHES, REPEATS, clean_air_of_repeats
from tests.studies.intervals.oracle import Truth, oracle_error
from tests.studies.intervals.shares import WANTED, Share, is_surely_above
from tests.studies.physical_room import Sensor, sensor_readings
from tests.studies.simulated_trial import NONE, Floats
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
TRIALS = 40
OTHERS = 12  # trials of a cell in a still room, and with a new logger
ON_BEFORE_MIN = 30.0
TAUGHT = 12  # trials that a logger is known from
SEED = 20_260_611
NATURAL_PER_H, AIR_CHANGE_PER_H, INCOMING, RISE = 0.3, 0.2, 6.0, 400.0
BEFORE_MIN, SMOKE_MIN = 10.0, 3.0
NOTES_ON_SAMPLING = {"too_few_readings", "sampling_too_slow"}
WANTED_RATIO = 1.3
KINDS = ("known", "oracle", "on before", "still", "new")
HEAD = (
    f"{'k 1/h':>6}{'every s':>8}  {'noise':<14}{'error':>8}{'1.96 sd':>9}{'width':>8}{'noted':>7}"
    + "".join(f"{kind:>16}{'ratio':>7}" for kind in KINDS)
    + "".join(f"{f'clean air of {repeats}':>16}{'ratio':>7}" for repeats in REPEATS)
)
RESULT = Path(__file__).parents[1] / "tables" / "rate_efficiency.txt"

Case = tuple[float, float, str]


@dataclass(frozen=True, slots=True)
class Rates:
    """Rates found over the true one − 1, and relative half-widths."""

    error: Floats
    half_width: Floats

    @property
    def share(self) -> Share:
        return Share(int(np.sum(np.abs(self.error) <= self.half_width)), self.error.size)

    @property
    def spread(self) -> float:
        return float(np.std(self.error, ddof=1))

    @property
    def ratio(self) -> float:
        return float(np.median(self.half_width)) / (1.96 * self.spread)


@dataclass(frozen=True, slots=True)
class Cell:
    """Trials of one cell. kinds : rates by KINDS;  noted : share whose sampling was noted
    clean_air : by repeats, the share held and the ratio; empty for an empty room
    """

    case: Case
    kinds: dict[str, Rates]
    noted: float
    clean_air: dict[int, tuple[Share, float]]

    def line(self) -> str:
        rate, interval, noise = self.case
        known = self.kinds["known"]
        shares = (100 * float(np.median(known.error)), 196 * known.spread, 100 * float(np.median(known.half_width)))
        pairs = [(rates.share, rates.ratio) for rates in self.kinds.values()]
        pairs += [self.clean_air[repeats] for repeats in REPEATS if repeats in self.clean_air]
        return (
            f"{rate:>6g}{interval:>8g}  {noise:<14}{shares[0]:>8.2f}{shares[1]:>9.2f}{shares[2]:>8.2f}"
            f"{100 * self.noted:>7.0f}" + "".join(f"{share.text()}{ratio:>7.2f}" for share, ratio in pairs)
        )


def level_s(rate_per_h: float, drift_per_h: float = 0.0) -> tuple[Floats, Floats, float]:
    """True level each second of one well-mixed room, and the time of unit on [s].

    drift_per_h : relative change of the incoming air per hour
    """
    run_s = 3600 * min(6 / rate_per_h + 1 / 3, 4.0)
    on_s = 60 * (BEFORE_MIN + SMOKE_MIN)
    time_s = np.arange(0.0, on_s + run_s + 0.5)
    on = int(on_s)
    incoming = AIR_CHANGE_PER_H * INCOMING * np.maximum(1 + drift_per_h * time_s / 3600, 0.0)
    before = incoming[: on + 1] / NATURAL_PER_H
    before += RISE * np.clip((time_s[: on + 1] - 60 * BEFORE_MIN) / (60 * SMOKE_MIN), 0.0, 1.0)
    keep = math.exp(-rate_per_h / 3600)
    source = (1 - keep) * incoming[on:-1] / rate_per_h
    after, _ = lfilter([1.0], [1.0, -keep], source, zi=[keep * before[-1]])
    return time_s, np.concatenate([before, after]), on_s


@dataclass(frozen=True, slots=True)
class SimulatedTrial:
    elapsed_s: Floats
    readings: Floats
    unit_on_s: float
    truth: Truth
    sensor: Sensor


def simulated(case: Case, number: int, drawn: bool, on_before_min: float = 0.0) -> SimulatedTrial:
    """One trial of a cell; `drawn`: with a drift, warm-up and linearity drawn from what the program assumes.

    on_before_min : the sensor is on for so long before the first reading
    """
    rate, interval, noise = case
    rng = np.random.default_rng([SEED, RATES_PER_H.index(rate), INTERVALS_S.index(interval), number])
    assumed = assumed_disturbances(rng)
    there = assumed if drawn else NONE
    warm_up = there.warm_up_share * math.exp(-on_before_min / 60 / WARM_UP_H)
    time_s, level, on_s = level_s(rate, there.drift_per_h)
    sensor = Sensor(interval, averaging_s=interval, response_s=0.0, warm_up_share=warm_up, **NOISES[noise])
    read = level[int(on_s)] * (level / level[int(on_s)]) ** there.power
    elapsed_s, readings = sensor_readings(rng, time_s, read, sensor)
    before, after = (AIR_CHANGE_PER_H * INCOMING / each for each in (NATURAL_PER_H, rate))
    calm = level_s(rate)[1] if drawn else level
    truth = Truth(rate, time_s, calm, before, after, rate <= NATURAL_PER_H)
    return SimulatedTrial(elapsed_s, readings, on_s, truth, sensor)


def analysed(trial: SimulatedTrial, of_logger: LoggerNoise, timing: LoggerTiming = NOT_KNOWN) -> ChannelDecay:
    return analyse_decay(
        trial.elapsed_s,
        trial.readings,
        channel="pm2_5",
        unit="µg/m³",
        marks=Marks(unit_on_h=trial.unit_on_s / 3600),
        empty_room=trial.truth.empty_room,
        of_logger=of_logger,
        timing=timing,
    )


def known_logger(interval: float, noise: str) -> LoggerNoise:
    """What trials of all rates show of a logger, other ones than those of the cells."""
    evidence = []
    for number in range(TAUGHT):
        case = (RATES_PER_H[number % len(RATES_PER_H)], interval, noise)
        shown = analysed(simulated(case, 10_000 + number, drawn=True), GENERIC).noise_evidence
        evidence += [shown] if shown else []
    return learn(evidence)


def _found(trial: SimulatedTrial, decay: ChannelDecay) -> tuple[float, float]:
    rate = decay.fit.decay_rate if decay.fit else None
    if rate is None:
        return math.inf, 0.0
    return rate.value / trial.truth.rate_per_h - 1, rate.expanded_uncertainty_95 / trial.truth.rate_per_h


def cell_of(case: Case, of_logger: LoggerNoise, trials: int) -> Cell:
    found: dict[str, list[tuple[float, float]]] = {kind: [] for kind in KINDS}
    rates, noted, timing = [], 0, LoggerTiming(on_before_min=ON_BEFORE_MIN)
    for number in range(trials):
        trial = simulated(case, number, drawn=True)
        decay = analysed(trial, of_logger)
        found["known"].append(_found(trial, decay))
        noted += any(note.code in NOTES_ON_SAMPLING for note in decay.notes)
        if decay.fit is not None and decay.fit.decay_rate is not None:
            rates.append(decay.fit.decay_rate)
            found["oracle"].append(oracle_error(trial.truth, trial.sensor, trial.elapsed_s, trial.readings, decay.fit))
        warm = simulated(case, number, drawn=True, on_before_min=ON_BEFORE_MIN)
        found["on before"].append(_found(warm, analysed(warm, of_logger, timing)))
        if number < OTHERS:
            found["new"].append(_found(trial, analysed(trial, GENERIC)))
            calm = simulated(case, number, drawn=False)
            found["still"].append(_found(calm, analysed(calm, of_logger, timing)))
    random = np.random.default_rng([SEED, 1])
    clean = {} if case[0] <= NATURAL_PER_H else clean_air_of_repeats(rates, case[0], NATURAL_PER_H, random)
    return Cell(case, {kind: Rates(*np.array(one).T) for kind, one in found.items()}, noted / trials, clean)


def _logger(of: tuple[float, str]) -> tuple[tuple[float, str], LoggerNoise]:
    return of, known_logger(*of)


def _cell(of: tuple[Case, LoggerNoise, int]) -> Cell:
    return cell_of(*of)


def all_cells(trials: int, processes: int = 2) -> list[Cell]:
    with Pool(processes) as pool:
        loggers = dict(pool.map(_logger, itertools.product(INTERVALS_S, NOISES), chunksize=1))
        cases = itertools.product(RATES_PER_H, INTERVALS_S, NOISES)
        return pool.map(_cell, [(case, loggers[case[1:]], trials) for case in cases], chunksize=1)


def summary(cells: Sequence[Cell]) -> list[str]:
    required = [one for one in cells if one.noted < 0.5]
    lines = [f"cells without a note on sampling: {len(required)} of {len(cells)}"]
    lines += [_summed(kind, [(one.kinds[kind].share, one.kinds[kind].ratio) for one in required]) for kind in KINDS]
    for repeats in REPEATS:
        clean = [one.clean_air[repeats] for one in required if one.clean_air]
        lines.append(_summed(f"clean air of {repeats}", clean))
    lines += ["", f"{'those cells pooled':<24}" + "".join(f"{kind:>16}" for kind in KINDS)]
    for place, name in enumerate(("{:g} per h", "every {:g} s", "{}")):
        for level in dict.fromkeys(one.case[place] for one in required):
            group = [one for one in required if one.case[place] == level]
            shares = [[one.kinds[kind].share for one in group] for kind in KINDS]
            lines.append(f"{name.format(level):<24}" + "".join(_pooled(each).text() for each in shares))
    return lines


def _pooled(shares: Sequence[Share]) -> Share:
    return Share(sum(one.held for one in shares), sum(one.trials for one in shares))


def _summed(name: str, found: Sequence[tuple[Share, float]]) -> str:
    shares, ratios = [share for share, _ in found], [ratio for _, ratio in found]
    all_together = _pooled(shares)
    percents = [share.percent for share in shares]
    sure = sum(is_surely_above(ratio, WANTED_RATIO, share.trials) for share, ratio in found)
    return (
        f"{name}: ratio median {np.median(ratios):.2f}, highest {max(ratios):.2f}, above {WANTED_RATIO:g} in "
        f"{sum(ratio > WANTED_RATIO for ratio in ratios)}, surely in {sure}; held {all_together.percent:.1f} %, "
        f"{min(percents):.1f} to {max(percents):.1f} %, outside {WANTED[0]:g} to {WANTED[1]:g} % in "
        f"{sum(share.is_outside for share in shares)}, surely in {sum(share.is_excluded for share in shares)}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=TRIALS)
    trials = parser.parse_args().trials
    cells = all_cells(trials)
    lines = [
        f"python -m tests.studies.intervals.rate_efficiency --trials {trials}",
        "",
        "by kind: trials whose interval holds the truth [%] with the exact 95 % interval of that share; ratio: median",
        "half-width over 1.96 sd of the rates; error: median; 1.96 sd, width: of the rates, and the median half-width",
        f"[% of the rate]; noted: too few or too slow readings [%]. known: from {TAUGHT} trials of the logger; oracle: "
        "least",
        f"squares that know the noise; on before: sensor on for {ON_BEFORE_MIN:g} min; still: likewise, without drift "
        "and warm-up;",
        f"new: a logger of which nothing is known; of the last two {OTHERS} trials a cell. clean air: of {BENCHES} "
        "draws of repeats.",
        "surely: the interval of the share excludes 93 to 97 %, or that of the ratio 1.3 and less",
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

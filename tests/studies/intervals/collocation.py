"""Do the 95 % intervals of a check of two loggers hold what was simulated?

    python -m tests.studies.intervals.collocation               # full size, writes collocation.txt beside this file
    python -m tests.studies.intervals.collocation --pairs 40    # smaller; prints the table only

Two loggers stand in one room for two hours with three bursts of smoke. The second one has a clock, gain, zero and
curvature of its own; both have noise in proportion to the level and noise that does not depend on it. A check fits its
line by errors in variables. Beside it, stretches of clean air of ten minutes give the zero level and the limit of
detection, three standard deviations of noise that may remember the reading before. Nothing here is published; the
figures describe this program.
"""

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from app.compute.collocation.alignment import Levels
from app.compute.collocation.clean_air_and_warm_up import DETECTION_FACTOR, clean_air
from app.compute.collocation.collocate import Collocation, collocate
from app.compute.statistics.measured import Measured
from tests.compute.collocation.loggers import logger

SEED, PAIRS, STRETCHES = 20_261_130, 400, 2000

NOISES, CURVATURES = (0.01, 0.02, 0.05), (0.0, 5e-4)
MEMORIES, ZERO, NOISE_AT_ZERO, READINGS = (0.0, 0.5, 0.8), 2.0, 0.3, 60
RESULT = Path(__file__).with_suffix(".txt")


def pair(number: int, noise: float, curvature: float) -> tuple[Collocation, dict[str, float]]:
    """The check of pair `number`, and what was simulated."""
    rng = np.random.default_rng([SEED, number])
    truth = {"slope": rng.uniform(0.8, 1.25), "intercept": rng.uniform(-3.0, 3.0), "curvature": curvature}
    clock_s = float(rng.uniform(-60.0, 60.0))
    told = {"gain": truth["slope"], "zero": truth["intercept"], "curvature": curvature, "offset_s": clock_s}
    one = logger(int(rng.integers(2**31)), name="A", noise=noise)
    other = logger(int(rng.integers(2**31)), noise=noise, **told)  # type: ignore[arg-type]
    return collocate(one, other), truth


def line(name: str, quantity: str, inside: Sequence[bool], spread: float, stated: float) -> str:
    ratio = f"{stated / spread:>10.2f}" if spread > 0 else f"{'–':>10}"
    return f"{name:<34}{quantity:<18}{len(inside):>7}{100 * np.mean(inside):>10.1f}{ratio}"


def lines_of_pairs(pairs: int) -> list[str]:
    found = []
    for curvature in CURVATURES:
        for noise in NOISES:
            checks = [pair(number, noise, curvature) for number in range(pairs)]
            name = f"noise {100 * noise:g} %, {'straight' if curvature == 0 else f'curvature {curvature:g}'}"
            quantities = ("slope", "intercept", "curvature") if curvature == 0 else ("curvature",)
            for quantity in quantities:
                get: Callable[[Collocation], Measured] = lambda check, of=quantity: getattr(check.line, of)  # noqa: E731
                errors = [get(check).value - truth[quantity] for check, truth in checks]
                inside = [get(check).low_95 <= truth[quantity] <= get(check).high_95 for check, truth in checks]
                stated = float(np.median([get(check).uncertainty for check, _ in checks]))
                found.append(line(name, quantity, inside, float(np.std(errors)), stated))
    return found


def lines_of_clean_air(stretches: int) -> list[str]:
    found = []
    for memory in MEMORIES:
        zeros, limits, errors, stated = [], [], [], []
        for number in range(stretches):
            rng = np.random.default_rng([SEED + 1, number])
            noise = rng.standard_normal(READINGS)
            for place in range(1, READINGS):
                noise[place] = memory * noise[place - 1] + np.sqrt(1 - memory**2) * noise[place]
            time_s = 10.0 * np.arange(READINGS)
            air = clean_air(Levels("B", time_s, ZERO + NOISE_AT_ZERO * noise))
            zeros.append(air.zero.low_95 <= ZERO <= air.zero.high_95)
            truth = DETECTION_FACTOR * NOISE_AT_ZERO
            limits.append(air.detection_limit_low <= truth <= air.detection_limit_high)
            errors.append(air.zero.value - ZERO)
            stated.append(air.zero.uncertainty)
        name = f"clean air, memory {memory:g}"
        found.append(line(name, "zero level", zeros, float(np.std(errors)), float(np.median(stated))))
        found.append(line(name, "limit of detection", limits, 0.0, 0.0))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=PAIRS)
    pairs = parser.parse_args().pairs
    lines = [
        f"python -m tests.studies.intervals.collocation --pairs {pairs}",
        "",
        "inside: 95 % interval holds the truth; stated: median standard uncertainty over the scatter of the errors",
        "",
        f"{'cell':<34}{'quantity':<18}{'checks':>7}{'inside %':>10}{'stated':>10}",
        *lines_of_pairs(pairs),
        *lines_of_clean_air(STRETCHES * pairs // PAIRS),
    ]
    print("\n".join(lines))
    if pairs == PAIRS:
        RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

"""After how many runs the control chart of a room finds a lasting change, and how often it reports one falsely.

    python -m tests.studies.few_trials.control_chart    # writes tests/studies/tables/control_chart.txt, two minutes

Rooms with known truth: a level, a normal deviation of each run, and a normal error of each fit whose size the fit knows
and which differs from run to run. After the reference runs the level changes once and stays. Sizes of changes are in
standard deviations of a typical run. Runs are counted from the change on; "runs" is the number after the reference.
Nothing here is published; the figures describe this program. Small versions run with the tests.
"""

import argparse
from collections.abc import Iterator

import numpy as np

from app.compute.control_charts.chart import control_chart
from app.compute.control_charts.limits import EWMA_SIGMAS, EWMA_WEIGHT, SHEWHART_SIGMAS, ChartRun
from app.compute.control_charts.reference import FEWEST_REFERENCE_RUNS, REFERENCE_RUNS, ReferencePeriod
from tests.studies.few_trials.ewma_run_lengths import chain_run_length, shewhart_run_length, varying_run_length
from tests.studies.study_figures import TABLES, write_shipped_figures

SEED = 20_261_129
LEVEL, BETWEEN, FIT = 0.5, 0.05, (0.01, 0.04)
RUNS = 50
SHIFTS = (0.0, 1.0, 1.5, 2.0, 3.0, 4.0)
REFERENCES = (FEWEST_REFERENCE_RUNS, REFERENCE_RUNS, 30)
NEVER = 10**6

Random = np.random.Generator


def found_after(reference: int, shift: float, runs: int, random: Random) -> tuple[int, int]:
    """Runs from the change until the moving average passes its limit, and until a single run passes its own."""
    number = reference + runs
    own = random.uniform(*FIT, number)
    typical = np.hypot(BETWEEN, np.mean(FIT))
    values = LEVEL + random.normal(0, BETWEEN, number) + random.normal(0, own)
    values[reference:] += shift * typical
    chart = control_chart(
        [ChartRun(n, float(n), float(values[n]), float(own[n])) for n in range(number)],
        [ReferencePeriod(0.0, reference - 1.0)],
    )
    later = chart.points[reference:]
    averages = next((place for place, point in enumerate(later, 1) if point.ewma_outside), NEVER)
    singles = next((place for place, point in enumerate(later, 1) if point.outside), NEVER)
    return averages, singles


def table(rooms: int, random: Random) -> Iterator[str]:
    yield f"{rooms} rooms in each row; {RUNS} runs after the reference"
    yield f"{'reference runs':>14}{'change':>8}{'average':>9}{'90 %':>6}{'within':>8}{'single':>9}{'either':>8}"
    for reference in REFERENCES:
        for shift in SHIFTS:
            found = np.array([found_after(reference, shift, RUNS, random) for _ in range(rooms)])
            middle, most = (np.quantile(found[:, 0], share, method="inverted_cdf") for share in (0.5, 0.9))
            shares = [100 * np.mean(kind <= RUNS) for kind in (found[:, 0], found[:, 1], found.min(axis=1))]
            cells = "".join(f"{share:{width}.1f}" for share, width in zip(shares, (8, 9, 8), strict=True))
            yield f"{reference:14}{shift:8.1f}{_number(middle):>9}{_number(most):>6}{cells}"


def _number(runs: float) -> str:
    return "–" if runs >= NEVER else f"{runs:.0f}"


def run_lengths() -> Iterator[str]:
    yield "Average run length with known centre and spread, in runs: limits of a single run, and of the average with"
    yield "constant limits (Markov chain) and with limits of exact variance (quadrature)"
    yield f"{'change':>8}{'single':>9}{'constant':>10}{'exact':>8}"
    for shift in SHIFTS:
        lengths = (
            shewhart_run_length(SHEWHART_SIGMAS, shift),
            chain_run_length(EWMA_WEIGHT, EWMA_SIGMAS, shift),
            varying_run_length(EWMA_WEIGHT, EWMA_SIGMAS, shift),
        )
        yield f"{shift:8.1f}{lengths[0]:9.1f}{lengths[1]:10.1f}{lengths[2]:8.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rooms", type=int, default=1000)
    rooms = parser.parse_args().rooms
    random = np.random.default_rng(SEED)
    lines = [
        "Output of: python -m tests.studies.few_trials.control_chart",
        "",
        *table(rooms, random),
        "",
        *run_lengths(),
    ]
    (TABLES / "control_chart.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    write_shipped_figures()


if __name__ == "__main__":
    main()

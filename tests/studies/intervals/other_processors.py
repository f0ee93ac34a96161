"""How far the results of a trial depend on the processor that analyses it.

    python -m tests.studies.intervals.other_processors    # writes other_processors.txt beside it, two minutes

numpy and OpenBLAS choose their code by the processor, and each adds in its own order. The same simulated logs are
analysed with the code for this processor and with that for older ones, in a process each. Printed is the largest
relative difference of any stored number, and how many texts and rounded numbers differ. A number counts as the same in
a data package, a rehearsed restore or a re-analysis up to `SAME_WITHIN`, which has to be far above all of them.

Only processors of the x86-64 family can be imitated, and only on one of them.
"""

import argparse
import json
import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np

from app.compute.decay.analysis import analyse_decay
from app.services.results.rows import SAME_WITHIN, analysis_values
from tests.studies.simulated_trial import Conditions, simulated_trial

RESULT = Path(__file__).with_suffix(".txt")
SEED, LOGS = 20_261_130, 2000
# What numpy leaves out, and the kernels that OpenBLAS takes.
PROCESSORS = {
    "AVX2": ("X86_V4", "Haswell"),
    "AVX": ("X86_V4 X86_V3", "Sandybridge"),
    "SSE3": ("X86_V4 X86_V3", "Prescott"),
}
Rows = list[dict[str, object]]


def random_conditions(random: np.random.Generator) -> Conditions:
    return Conditions(
        rate_per_h=float(np.exp(random.uniform(math.log(0.15), math.log(20)))),
        interval_s=float(random.choice([1, 5, 10, 30, 60, 120])),
        autocorrelation=float(random.choice([0.0, 0.5, 0.9, 0.99])),
        step=float(random.choice([0.01, 0.1, 1.0])),
        run_min=float(random.choice([20, 60, 120, 180, 360])),
        background=float(random.choice([1.0, 5.0, 20.0])),
        before_smoke=bool(random.integers(2)),
    )


def analysed(logs: int) -> Rows:
    """The stored numbers of each log, by this process."""
    rows: Rows = []
    for number in range(logs):
        random = np.random.default_rng([SEED, number])
        elapsed_s, levels = simulated_trial(random, random_conditions(random))
        decay = analyse_decay(elapsed_s, levels, channel="pm2_5", unit="µg/m³")
        notes = {f"note {note.code}": note.message for note in decay.notes}
        rows.append({**analysis_values(decay), **notes})
    return rows


def analysed_as_by(processor: str, logs: int) -> Rows:
    """The same by a process that imitates another processor."""
    without, kernels = PROCESSORS[processor]
    environment = {**os.environ, "NPY_DISABLE_CPU_FEATURES": without, "OPENBLAS_CORETYPE": kernels}
    command = [sys.executable, "-m", "tests.studies.intervals.other_processors", "--logs", str(logs), "--print-numbers"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    rows: Rows = json.loads(done.stdout)
    return rows


def differences(here: Rows, there: Rows) -> tuple[dict[str, float], int]:
    """Largest relative difference of each number over all logs, and how many texts and rounded numbers differ."""
    largest: dict[str, float] = {}
    texts = 0
    for ours, theirs in zip(here, there, strict=True):
        for name in ours.keys() | theirs.keys():
            one, other = ours.get(name), theirs.get(name)
            if isinstance(one, float) and isinstance(other, float):
                scale = max(abs(one), abs(other))
                largest[name] = max(largest.get(name, 0.0), abs(one - other) / scale if scale else 0.0)
            else:
                texts += one != other
    return largest, texts


def table(logs: int) -> str:
    here = analysed(logs)
    lines = [
        f"{logs} simulated logs, seed {SEED}; largest relative difference of any log from this processor",
        f"counted as the same: {SAME_WITHIN:g}",
    ]
    for processor in PROCESSORS:
        largest, texts = differences(here, analysed_as_by(processor, logs))
        order = sorted(largest, key=lambda name: -largest[name])
        lines += ["", f"with the code for {processor}: {texts} texts or rounded numbers differ"]
        shown = ("total_decay_per_h", "total_decay_uncertainty_per_h", "time_to_clear_min", *order[:6])
        lines += [f"  {name:42} {largest[name]:8.1e}" for name in dict.fromkeys(shown)]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--logs", type=int, default=LOGS)
    parser.add_argument("--print-numbers", action="store_true", help="the numbers of this process as JSON")
    asked = parser.parse_args()
    if asked.print_numbers:
        print(json.dumps(analysed(asked.logs)))
        return
    text = table(asked.logs)
    print(text, end="")
    if asked.logs == LOGS:
        RESULT.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()

"""kill -9 of real processes at random moments: is everything acknowledged there, and nothing stored by half?

python -m tests.studies.kills --kills 240 --seed 1

Prints one line for each kind of work that was interrupted, and how far it was when it was killed. It stops at the first
thing that is lost, with the number of the kill.
"""

import argparse
import multiprocessing
import random
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from itertools import repeat
from pathlib import Path

from tests.faults.killing.kills import Kills, OnKill
from tests.faults.killing.of_backup import kill_during_backup
from tests.faults.killing.of_migration import kill_during_migration
from tests.faults.killing.of_re_analysis import kill_during_re_analysis
from tests.faults.killing.of_uploads import kill_during_uploads

Kind = Callable[[Path, int, random.Random, OnKill], Kills]
# The share of the kills that each kind of work gets.
KINDS: dict[str, tuple[Kind, float]] = {
    "uploads": (kill_during_uploads, 0.4),
    "re-analysis": (kill_during_re_analysis, 0.2),
    "migration": (kill_during_migration, 0.2),
    "backup": (kill_during_backup, 0.2),
}


def run(kills: int, seed: int, at_once: int = 1) -> list[Kills]:
    """All kinds, several side by side if told so."""
    with ProcessPoolExecutor(at_once, multiprocessing.get_context("spawn")) as pool:
        return list(pool.map(one_kind, KINDS, repeat(kills), repeat(seed)))


def one_kind(name: str, kills: int, seed: int) -> Kills:
    """One kind of kill; how far it is goes to standard error."""
    begun = time.monotonic()
    kill_during, share = KINDS[name]

    def told(so_far: Kills) -> None:
        print(f"{name}: {so_far.kills} kills in {time.monotonic() - begun:.0f} s", file=sys.stderr, flush=True)

    with tempfile.TemporaryDirectory() as folder:
        return kill_during(Path(folder) / name, round(kills * share), random.Random(f"{name} {seed}"), told)


def table(met: list[Kills]) -> str:
    lines = [f"{'interrupted':32} {'kills':>6} {'acknowledged':>13} {'slowest start':>14}"]
    for one in met:
        lines.append(f"{one.what:32} {one.kills:6} {one.acknowledged or '-':>13} {one.slowest_start_s:12.1f} s")
        lines += [f"    {number:4}  {moment}" for moment, number in sorted(one.moments.items())]
    lines.append(f"{'all':32} {sum(one.kills for one in met):6} {sum(one.acknowledged for one in met):13}")
    return "\n".join(lines)


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--kills", type=int, default=240)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--at-once", type=int, default=1, help="kinds of work that are interrupted side by side")
    told = arguments.parse_args()
    print(f"python -m tests.studies.kills --kills {told.kills} --seed {told.seed} --at-once {told.at_once}\n")
    print(table(run(told.kills, told.seed, told.at_once)))
    print(
        "\nEverything acknowledged was there after each kill, nothing was stored by half, and the server started again."
    )

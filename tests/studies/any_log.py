"""Ten thousand damaged logs: each is read or refused, and how long the slowest took.

python -m tests.studies.any_log 10000
"""

import random
import sys
import time
import warnings

from app.errors import UnreadableLog
from app.reading_files.read_log import read_log
from tests.reading_files.mutated_logs import SEEDS, mutate


def run(inputs: int, seed: int = 1) -> None:
    """Prints how many were read and refused, and the slowest; stops at the first other error."""
    warnings.simplefilter("error")
    chance = random.Random(seed)
    names = sorted(SEEDS)
    read = refused = 0
    slowest = (0.0, "")
    for number in range(inputs):
        name = chance.choice(names)
        numbers = [chance.randrange(2**32) for _ in range(chance.randrange(1, 7))]
        content = mutate(SEEDS[name], numbers)
        begun = time.perf_counter()
        try:
            read_log(content, "log.csv")
            read += 1
        except UnreadableLog:
            refused += 1
        except BaseException:
            print(f"input {number}: {name} with {numbers}")
            raise
        slowest = max(slowest, (time.perf_counter() - begun, f"{name} with {numbers}"))
    print(f"{inputs} damaged logs: {read} read, {refused} refused, slowest {slowest[0]:.2f} s ({slowest[1]})")


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)

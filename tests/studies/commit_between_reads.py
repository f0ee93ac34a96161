"""A commit between any two reads of a request: does a later answer stay out of date?

python -m tests.studies.commit_between_reads --rounds 50

First a commit before every single statement of every view that a process keeps; then, for each number of readers, as
many rounds as asked for of readers of views drawn by chance beside a writer. Every answer afterwards is compared with
that of the same server once it has forgotten its snapshot.
"""

import argparse
import tempfile
from pathlib import Path
from random import Random

from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from tests.faults.commit_between_reads import ADDRESSES, ReadBench
from tests.sample_data.ranked_bench import fill

READERS = (1, 2, 3, 6)


def run(rounds: int) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(Path(folder))
        store = open_store(settings)
        with session_scope(store) as session:
            filled = fill(session)
        url = store.url.render_as_string(hide_password=False)
        store.dispose()
        setting_ids = {"strong": filled.settings["Strong"], "weak": filled.settings["Weak"]}
        bench = ReadBench(settings, url, list(filled.units.values()), setting_ids)
        lines = [f"{'view':62} {'statements':>10} {'out of date':>12}", *_gaps(bench)]
        lines += ["", f"{'readers beside a writer':62} {'rounds':>10} {'out of date':>12}", *_races(bench, rounds)]
        bench.close()
    return lines


def _gaps(bench: ReadBench) -> list[str]:
    lines, total, stale = [], 0, 0
    for words, address in zip(ADDRESSES, bench.addresses, strict=True):
        with bench.server() as client:
            statements = bench.statements_of(client, address)
            found = sum(bench.out_of_date_after_gap(client, address, place) for place in range(statements))
        lines.append(f"{words:62} {statements:10} {found:12}")
        total, stale = total + statements, stale + found
    return [*lines, f"{'all':62} {total:10} {stale:12}"]


def _races(bench: ReadBench, rounds: int) -> list[str]:
    lines, chance = [], Random(2)
    for readers in READERS:
        with bench.server() as client:
            found = sum(
                bool(bench.out_of_date_after_race(client, chance.sample(bench.addresses, readers), commits=3))
                for _ in range(rounds)
            )
        lines.append(f"{readers:<62} {rounds:10} {found:12}")
    return lines


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--rounds", type=int, default=50)
    told = arguments.parse_args()
    print(f"python -m tests.studies.commit_between_reads --rounds {told.rounds}\n")
    print("\n".join(run(told.rounds)))

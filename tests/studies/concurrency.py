"""Eight writers and 32 readers at one real server: is anything lost or refused, and how much slower are the answers?

python -m tests.studies.concurrency --seconds 20

Prints throughput and the 95th percentile of the answer times as ratios to the same readers alone.
"""

import argparse
import tempfile
from pathlib import Path

from tests.conftest import decay_log
from tests.faults.concurrent_use import Crowd, missing_prices
from tests.faults.killing.kills import filled_bench, none
from tests.faults.real_process import served, start_command
from tests.faults.whole_store import ask, faults_of, lost_marks, missing_trials


def run(seconds: float, readers: int = 32, writers: int = 8, imported: int = 20) -> list[str]:
    """Lines of the table; an AssertionError where something was lost or refused."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "bench"
        store = filled_bench(folder, 10)
        with served(folder) as server:
            Crowd(server, 4, 2, 1).stay(6)  # what is loaded when used is loaded now
            idle = Crowd(server, readers, 0, 2).stay(seconds)
            busy = Crowd(server, readers, writers, 3).stay(seconds)
            command = _start_import(Path(place), folder, imported)
            beside = Crowd(server, readers, 0, 4).stay(until=lambda: command.poll() is not None)
            out, err = command.communicate()
            assert command.returncode == 0, err
            assert f"{imported} logs added" in out
            said = server.said()
        for crowd in (idle, busy, beside):
            none(crowd.reading.odd + crowd.writing.odd)
        none(faults_of(store))
        none(missing_trials(store, busy.trials))
        none(lost_marks(store, busy.marks, {}))
        none(missing_prices([row[0] for row in ask(store, "SELECT amount FROM prices")], busy.prices))
        assert "Traceback" not in said, said[-3000:]
    lines = [f"{'':34} {'readers /s':>11} {'ratio':>6} {'p95 ms':>7} {'ratio':>6} {'writes /s':>10} {'p95 ms':>7}"]
    for words, crowd in (
        (f"{readers} readers alone", idle),
        (f"and {writers} writers", busy),
        (f"and an import of {imported} logs", beside),
    ):
        rate, of_idle = len(crowd.reading.seconds) / crowd.took_s, len(idle.reading.seconds) / idle.took_s
        p95, p95_idle = crowd.reading.p95_s(), idle.reading.p95_s()
        line = f"{words:34} {rate:11.1f} {rate / of_idle:6.2f} {1000 * p95:7.0f} {p95 / p95_idle:6.2f}"
        if crowd.writing.seconds:
            line += f" {len(crowd.writing.seconds) / crowd.took_s:10.1f} {1000 * crowd.writing.p95_s():7.0f}"
        lines.append(line)
    return lines


def _start_import(place: Path, folder: Path, number: int):
    logs = place / "logs"
    logs.mkdir()
    for seed in range(number):
        log = decay_log(4.0, minutes=165, interval_s=1.0, seed=50_000 + seed)
        (logs / f"{seed:03}.csv").write_bytes(log)
    about = ["--maker", "Maker", "--model", "Model 1", "--setting", "high", "--room", "Room A"]
    return start_command("import", str(logs), *about, "--data", str(folder))


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--seconds", type=float, default=20.0)
    told = arguments.parse_args()
    print(f"python -m tests.studies.concurrency --seconds {told.seconds:g}\n")
    print("\n".join(run(told.seconds)))
    print("\nNo trial, mark or price that was acknowledged was lost, and no answer was an error.")

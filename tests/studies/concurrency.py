"""Eight writers and 32 readers at one real server: is anything lost or refused, and how much slower are the answers?

python -m tests.studies.concurrency --seconds 20 --slow 20 --imported 20

Prints throughput and the 95th percentile of the answer times as ratios to the same readers alone; at last with
everything at once: writers, an import, and slow sockets that send a byte of a head or of a body now and then. The last
row is the same readers alone on the bench that has grown meanwhile.
"""

import argparse
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from subprocess import Popen

from tests.conftest import decay_log
from tests.faults.concurrent_use import Crowd, missing_prices
from tests.faults.killing.kills import filled_bench, none
from tests.faults.real_process import Served, served, start_command
from tests.faults.whole_store import ask, faults_of, lost_marks, missing_trials

LIST = "list.manifest"


def run(
    seconds: float, readers: int = 32, writers: int = 8, imported: int = 20, slow: int = 20, units: int = 50
) -> list[str]:
    """Lines of the table; an AssertionError where something was lost or refused."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "bench"
        store = filled_bench(folder, 10)
        with served(folder) as server:
            Crowd(server, 4, 2, 1).stay(6)  # what is loaded when used is loaded now
            idle = Crowd(server, readers, 0, 2).stay(seconds)
            busy = Crowd(server, readers, writers, 3).stay(seconds)
            _write_logs(Path(place) / "logs", imported, 50_000, units)
            command = _start_import(Path(place) / "logs", folder)
            beside = Crowd(server, readers, 0, 4).stay(until=lambda: command.poll() is not None)
            _finish(command, imported)
            _write_logs(Path(place) / "more", imported, 60_000, units)
            more = _start_import(Path(place) / "more", folder)
            with _slow_sockets(server, slow) as held:
                crowded = Crowd(server, readers, writers, 5).stay(until=lambda: more.poll() is not None)
            _finish(more, imported)
            grown = Crowd(server, readers, 0, 6).stay(seconds)
            assert min(held) > 0, "no slow socket was open"
            said = server.said()
        for crowd in (idle, busy, beside, crowded, grown):
            none(crowd.reading.odd + crowd.writing.odd)
        none(faults_of(store))
        none(missing_trials(store, busy.trials | crowded.trials))
        none(lost_marks(store, busy.marks | crowded.marks, {}))
        prices = [row[0] for row in ask(store, "SELECT amount FROM prices")]
        none(missing_prices(prices, busy.prices + crowded.prices))
        assert "Traceback" not in said, said[-3000:]
    lines = [f"{'':34} {'readers /s':>11} {'ratio':>6} {'p95 ms':>7} {'ratio':>6} {'writes /s':>10} {'p95 ms':>7}"]
    for words, crowd in (
        (f"{readers} readers alone", idle),
        (f"and {writers} writers", busy),
        (f"and an import of {imported} logs", beside),
        (f"and all of it, {slow} slow sockets", crowded),
        (f"{readers} readers alone, grown bench", grown),
    ):
        rate, of_idle = len(crowd.reading.seconds) / crowd.took_s, len(idle.reading.seconds) / idle.took_s
        p95, p95_idle = crowd.reading.p95_s(), idle.reading.p95_s()
        line = f"{words:34} {rate:11.1f} {rate / of_idle:6.2f} {1000 * p95:7.0f} {p95 / p95_idle:6.2f}"
        if crowd.writing.seconds:
            line += f" {len(crowd.writing.seconds) / crowd.took_s:10.1f} {1000 * crowd.writing.p95_s():7.0f}"
        lines.append(line)
    return lines


def _write_logs(folder: Path, number: int, first_seed: int, units: int) -> None:
    """Logs of 0.4 MB and a list of them, which gives them to so many units in turn."""
    folder.mkdir()
    lines = ["file,maker,model,setting,room,kind_of_cleaning"]
    for seed in range(number):
        log = decay_log(4.0, minutes=165, interval_s=1.0, seed=first_seed + seed)
        (folder / f"{seed:03}.csv").write_bytes(log)
        lines.append(f"{seed:03}.csv,Maker,Model {1 + seed % units},high,Room A,mechanical filter")
    (folder / LIST).write_text("\n".join(lines) + "\n", encoding="utf-8")


def _start_import(logs: Path, folder: Path) -> Popen[str]:
    listed = ["--manifest", str(logs / LIST), "--add-missing"]
    return start_command("import", str(logs), *listed, "--data", str(folder))


def _finish(command: Popen[str], imported: int) -> None:
    out, err = command.communicate()
    assert command.returncode == 0, err
    assert f"{imported} logs added" in out


@contextmanager
def _slow_sockets(server: Served, number: int) -> Iterator[list[int]]:
    """So many sockets that send a byte a second, half of them of a head and half of a body; a closed one is opened
    again. Yields how many were open each second.
    """
    over, opened = threading.Event(), [0]
    let_in = "".join(f"{name}: {text}\r\n" for name, text in server.headers.items())
    body = f"POST /api/trials HTTP/1.1\r\nHost: 127.0.0.1\r\n{let_in}Content-Length: 900000\r\n\r\n"
    port = int(server.url.rpartition(":")[2])

    def trickle() -> None:
        sockets: list[socket.socket | None] = [None] * number
        while not over.wait(1.0):
            for place, one in enumerate(sockets):
                try:
                    if one is None:
                        one = sockets[place] = socket.create_connection(("127.0.0.1", port), 10)
                        one.sendall(b"GET / HTTP/1.1\r\nX: " if place % 2 else body.encode())
                    one.sendall(b"a")
                except OSError:
                    sockets[place] = None
            opened.append(sum(one is not None for one in sockets))
        for one in sockets:
            if one is not None:
                one.close()

    thread = threading.Thread(target=trickle)
    thread.start()
    time.sleep(2.5)
    del opened[0]
    try:
        yield opened
    finally:
        over.set()
        thread.join()


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--seconds", type=float, default=20.0)
    arguments.add_argument("--readers", type=int, default=32)
    arguments.add_argument("--imported", type=int, default=20, help="logs of 0.4 MB that are imported")
    arguments.add_argument("--slow", type=int, default=20, help="slow sockets")
    arguments.add_argument("--units", type=int, default=50, help="units that the imported logs are of")
    told = arguments.parse_args()
    print(
        f"python -m tests.studies.concurrency --seconds {told.seconds:g} --readers {told.readers} "
        f"--imported {told.imported} --slow {told.slow} --units {told.units}\n"
    )
    print("\n".join(run(told.seconds, told.readers, imported=told.imported, slow=told.slow, units=told.units)))
    print("\nNo trial, mark or price that was acknowledged was lost, and no answer was an error.")

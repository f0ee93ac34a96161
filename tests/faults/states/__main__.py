"""A bench in every state of the world: `python -m tests.faults.states`.

Each state is made on a real server with people at work; `table.txt` has a run. Prints what was acknowledged, what is
missing afterwards, and what the program said. A full disk needs the right to mount one, a set clock a C compiler, a
power cut strace, and a database server the programs of PostgreSQL; where one is missing the line says so.
"""

import argparse
import json
import random
import re
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.conftest import decay_log
from tests.faults.bench_under_load import Acknowledged, Desk, make_bench
from tests.faults.killing.kills import none, nothing_lost, wait_for
from tests.faults.killing.of_uploads import kill_during_uploads
from tests.faults.real_process import run_command, served
from tests.faults.states.clock import ShiftedClock
from tests.faults.states.on_a_server import database_server_restarted
from tests.faults.states.power_cut import Disk, traced_writes
from tests.faults.whole_store import ask, faults_of, missing_trials

ABOUT = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1, "setting": "high"}
TRIALS = 6


class CannotBeMade(Exception):
    """A state that cannot be made on this machine, with the reason."""


def killed(place: Path) -> tuple[int, str]:
    met = kill_during_uploads(place / "bench", 3, random.Random(1))
    return met.acknowledged, f"{met.kills} kills; started again within {met.slowest_start_s:.0f} s"


def disk_full(place: Path) -> tuple[int, str]:
    disk = place / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", str(disk)], capture_output=True)
    if mounted.returncode:
        raise CannotBeMade(mounted.stderr.decode().strip())
    try:
        store, told = make_bench(disk / "bench"), Acknowledged()
        with served(disk / "bench") as server:
            with Desk(told, interval_s=1.0).at_work(server):  # until the disk is full
                wait_for(lambda: bool(told.refused), server.process, within_s=300)
            # a page is longer than what is noted of it
            none([words for words in told.refused if not re.search("Free disk space|store is unavailable", words)])
            shutil.rmtree(disk / "bench" / "uploads")  # frees space, as the message says
            told.waiting.clear()
            nothing_lost(server, store, told)
        return len(told.trials) + len(told.marks), "503, free disk space and try again"
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def clock_jumps(place: Path) -> tuple[int, str]:
    clock = ShiftedClock(place)
    store, told = make_bench(place / "bench"), Acknowledged()
    jumps = [timedelta(days=2), timedelta(days=-30), timedelta(hours=1), timedelta(days=400), timedelta()]
    years = set()
    with served(place / "bench", environment=clock.environment) as server:
        for number, jump in enumerate(jumps, start=1):
            clock.set(int(jump.total_seconds()))
            with Desk(told, first_seed=100 * number).at_work(server):
                before = len(told.trials)
                wait_for(lambda n=before: len(told.trials) > n + 1 or bool(told.refused), server.process, 120)
            years.add(ask(store, "SELECT max(id), substr(created_at, 1, 4) FROM trials")[0][1])
        none(told.refused)
        told.waiting.clear()  # an upload waits for a day of the clock that it sees
        nothing_lost(server, store, told)
        assert "Traceback" not in server.said()
    assert len(years) > 1, "the clock of the server was not set"
    return len(told.trials) + len(told.marks), f"{len(jumps)} jumps from -30 to +400 days; nothing refused"


def zones_and_locales(place: Path) -> tuple[int, str]:
    """Local times across the end of summer time, read by processes in other zones and locales: one result."""
    start = datetime(2026, 10, 25, 0, 0, tzinfo=UTC)  # 02:00 in Berlin; the clocks go back at 01:00 UTC
    log = place / "run.csv"
    rows = decay_log(4.0, minutes=150, interval_s=30, started_at=start).decode().splitlines()
    log.write_text("\n".join([rows[0], *(_in_berlin(row) for row in rows[1:])]) + "\n")
    results, said = set(), set()
    settings = [("UTC", "C"), ("Europe/Berlin", "C.UTF-8"), ("America/New_York", "tr_TR.UTF-8"), ("Asia/Kolkata", "C")]
    for zone, locale in settings:
        given = ["--room-volume-m3", "30", "--natural-decay-per-h", "0.5", "--timezone", "Europe/Berlin", "--json"]
        done = run_command("analyse", str(log), *given, environment={"TZ": zone, "LC_ALL": locale})
        assert done.returncode == 0, done.stderr
        found = json.loads(done.stdout)
        results.add(json.dumps(found["channels"], sort_keys=True) + found["log"]["started_at"])
        said.add(found["log"]["started_at"])
    assert len(results) == 1, "the result depends on the zone or the locale of the process"
    assert said == {"2026-10-25T00:00:00Z"}
    return 0, f"one result in {len(settings)} zones and locales, across the end of summer time"


def _in_berlin(row: str) -> str:
    from zoneinfo import ZoneInfo

    moment, _, rest = row.partition(",")
    local = datetime.fromisoformat(moment).astimezone(ZoneInfo("Europe/Berlin"))
    return f"{local:%Y-%m-%d %H:%M:%S},{rest}"


def copied_while_written(place: Path) -> tuple[int, str]:
    """Copies by other programs are whole or refused; the program's own backup holds what was acknowledged before."""
    folder, told = place / "bench", Acknowledged()
    make_bench(folder)
    whole = refused = 0
    with served(folder) as server, Desk(told).at_work(server):
        wait_for(lambda: len(told.trials) >= TRIALS, server.process)
        before = dict(told.trials)
        backup = place / "backup.sqlite"
        done = run_command("backup", str(backup), "--data", str(folder))
        assert done.returncode == 0, done.stderr
        none(missing_trials(backup, before))
        for number in range(5):
            copy = place / f"copy_{number}"
            copy.mkdir()
            for name in ("bench.sqlite", "bench.sqlite-wal"):  # one after the other, as file managers do
                if (folder / name).exists():
                    shutil.copyfile(folder / name, copy / name)
                time.sleep(0.05)
            checked = run_command("check", "--data", str(copy))
            assert "Traceback" not in checked.stderr, checked.stderr
            if checked.returncode == 0:
                whole += 1
                none(faults_of(copy / "bench.sqlite"))
            else:
                refused += 1
    none(told.refused)
    return len(told.trials), f"backup whole; of 5 plain copies {whole} whole, {refused} found damaged by check"


def power_cut(place: Path) -> tuple[int, str]:
    if shutil.which("strace") is None:
        raise CannotBeMade("strace is not installed")
    folder, chance = place / "bench", random.Random(1)
    make_bench(folder)
    acknowledged: dict[int, str] = {}
    cuts = lost = 0
    with served(folder) as server, server.client(120) as client:
        client.get("/").raise_for_status()
        disk, trace = Disk(folder, ("bench.sqlite", "bench.sqlite-wal")), place / "trace"
        seen = 0
        with traced_writes(server, trace):
            for seed in range(1, 13):
                log = decay_log(4.0, minutes=30, interval_s=1.0, seed=seed)
                answer = client.post("/api/trials", files={"log": (f"{seed}.csv", log, "text/csv")}, data=ABOUT)
                assert answer.status_code == 201, answer.text
                acknowledged[answer.json()["id"]] = answer.json()["log"]["sha256"]
                lines = trace.read_text().splitlines()
                cut_at = sorted(chance.sample(range(seen, len(lines)), min(4, len(lines) - seen)))
                for until in (*cut_at, len(lines)):
                    disk.follow(lines[seen:until])
                    seen = until
                    known = acknowledged if until == len(lines) else {k: v for k, v in acknowledged.items() if k < seed}
                    for kept in ("none", "some", "all"):
                        after = disk.after_a_cut(place / "after", kept, chance)
                        cuts, lost = cuts + 1, lost + (0 if kept == "all" else disk.lost_writes())
                        none(faults_of(after / "bench.sqlite"))
                        none(missing_trials(after / "bench.sqlite", known))
    assert lost, "no cut fell between a write and its sync"
    return len(acknowledged), f"{cuts} cuts, {lost} writes not synced at them"


STATES: dict[str, Callable[[Path], tuple[int, str]]] = {
    "kill -9": killed,
    "disk full": disk_full,
    "clock jumps": clock_jumps,
    "summer time, zone, locale": zones_and_locales,
    "database server restarted": database_server_restarted,
    "store copied while written": copied_while_written,
    "power cut": power_cut,
}


def main() -> int:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--only", choices=STATES, action="append")
    wanted = arguments.parse_args().only or STATES
    print("python -m tests.faults.states\n")
    print(f"{'state':28} {'acknowledged':>12}  missing  what happened")
    failed = 0
    for name in wanted:
        with tempfile.TemporaryDirectory() as place:
            try:
                acknowledged, words = STATES[name](Path(place))
                print(f"{name:28} {acknowledged or '-':>12}  none     {words}", flush=True)
            except (CannotBeMade, FileNotFoundError) as error:
                print(f"{name:28} {'-':>12}  -        not made here: {error}", flush=True)
            except AssertionError as error:
                failed += 1
                print(f"{name:28} {'-':>12}  FAILED   {error}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())

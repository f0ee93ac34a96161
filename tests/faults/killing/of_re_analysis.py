"""Kills the server, or `hazefall recompute`, during a re-analysis of the whole bench."""

import random
import threading
import time
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

import httpx

from app.services.bench.definitions import BenchChoices
from tests.faults.killing.kills import Kills, OnKill, filled_bench, no_progress, no_traceback, none
from tests.faults.real_process import Served, run_command, served, start_command
from tests.faults.whole_store import ask, change, faults_of

TRIALS = 24


def kill_during_re_analysis(
    folder: Path, kills: int, chance: random.Random, on_kill: OnKill = no_progress, trials: int = TRIALS
) -> Kills:
    """Kills the server while a new clear level has it analyse the whole bench, and `hazefall recompute` in turn."""
    met = Kills("re-analysis of the bench")
    store = filled_bench(folder, trials)
    server_s, command_s = _times_without_a_kill(folder)
    for number in range(kills):
        if number % 2:
            met.killed(_kill_recompute(folder, store, chance.uniform(0.0, 1.1 * command_s)))
        else:
            level = 10.0 + (number // 2 % 40 + 1) / 10
            met.killed(_kill_change_of_level(folder, store, level, chance.uniform(0.0, 1.1 * server_s), met))
        none(faults_of(store))
        on_kill(met)
    with served(folder) as server:
        met.started(server)
        httpx.get(server.url, headers=server.headers, timeout=60).raise_for_status()
    no_traceback(folder)
    return met


def _times_without_a_kill(folder: Path) -> tuple[float, float]:
    """How long a change of the clear level and a re-analysis by command take [s], with the loading of libraries."""
    with served(folder) as server:
        begun = time.monotonic()
        assert _set_clear_level(server, 10.0) == 303
        server_s = time.monotonic() - begun
    begun = time.monotonic()
    done = run_command("recompute", "--data", str(folder), "--accept", "--workers", "1")
    assert done.returncode == 0, done.stderr
    return server_s, time.monotonic() - begun


def _set_clear_level(server: Served, level: float) -> int:
    form = {name: "" if value is None else str(value) for name, value in asdict(BenchChoices()).items()}
    return httpx.post(
        f"{server.url}/bench",
        data=form | {"name": "Bench", "clear_level_value": str(level)},
        headers=server.headers,
        timeout=60,
    ).status_code


def _kill_change_of_level(folder: Path, store: Path, level: float, after_s: float, met: Kills) -> str:
    """Either all results and the bench have the new level, or all have the old one; an answer means the new one."""
    before = ask(store, "SELECT clear_level_value FROM bench")[0][0]
    answers: list[int] = []

    def send() -> None:
        with suppress(httpx.TransportError):
            answers.append(_set_clear_level(server, level))

    server = Served(folder)
    met.started(server)
    sending = threading.Thread(target=send)
    sending.start()
    time.sleep(after_s)
    server.kill()
    sending.join(60)
    now = ask(store, "SELECT clear_level_value FROM bench")[0][0]
    of_results = {row[0] for row in ask(store, "SELECT DISTINCT clear_level FROM channel_results")}
    assert of_results == {now}, f"results of the clear levels {of_results} on a bench with {now}"
    assert now in (before, level)
    if answers:
        assert answers == [303]
        assert now == level, f"the clear level {level} was acknowledged, and the bench has {now}"
        met.acknowledged += 1
        return "server: after its answer"
    return "server: while it analysed"


def _kill_recompute(folder: Path, store: Path, after_s: float) -> str:
    """Stored results are bent first; afterwards all of them are still bent or all are right."""
    change(store, "UPDATE channel_results SET total_decay_per_h = total_decay_per_h * 1.5")
    records = _recomputed(store)
    bent = _rates(store)
    # one process, so that the kill leaves nothing of it running
    command = start_command("recompute", "--data", str(folder), "--accept", "--workers", "1")
    time.sleep(after_s)
    command.kill()
    out, err = command.communicate(timeout=60)
    assert "Traceback" not in err, err
    now = _rates(store)
    moved = [key for key in bent if now[key] != bent[key]]
    assert len(moved) in (0, len(bent)), f"{len(moved)} of {len(bent)} results were stored, the others not"
    if "The new results are saved" in out:
        assert moved, "the new results were acknowledged and are not there"
    assert bool(moved) == (_recomputed(store) > records), "results without their record of changes, or the reverse"
    whole = run_command("recompute", "--data", str(folder), "--accept", "--workers", "1")
    assert whole.returncode == 0, whole.stderr
    wrong = [key for key, rate in _rates(store).items() if abs(rate * 1.5 - bent[key]) > 1e-6 * rate]
    assert not wrong, f"{len(wrong)} results are not what they were"
    return "recompute: after it had stored" if moved else "recompute: before it had stored"


def _rates(store: Path) -> dict[int, float]:
    return dict(ask(store, "SELECT id, total_decay_per_h FROM channel_results WHERE total_decay_per_h IS NOT NULL"))


def _recomputed(store: Path) -> int:
    return int(ask(store, "SELECT count(*) FROM changes WHERE action = 'recomputed'")[0][0])

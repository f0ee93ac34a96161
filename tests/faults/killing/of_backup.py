"""Kills `hazefall backup`, or the server during a backup."""

import random
import time
from pathlib import Path

from app.services.store.backup import verify_copy
from tests.faults.bench_under_load import Acknowledged, Desk
from tests.faults.killing.kills import (
    Kills,
    OnKill,
    filled_bench,
    no_progress,
    no_traceback,
    none,
    nothing_lost,
    wait_for,
)
from tests.faults.real_process import Served, run_command, start_command
from tests.faults.whole_store import missing_trials

TRIALS = 24


def kill_during_backup(
    folder: Path, kills: int, chance: random.Random, on_kill: OnKill = no_progress, trials: int = TRIALS
) -> Kills:
    """Kills `hazefall backup`, or the server under it, while logs are being sent."""
    met = Kills("backup")
    store, told = filled_bench(folder, trials), Acknowledged()
    desk, server = Desk(told, first_seed=1000), Served(folder)
    copies = folder / "backups"
    try:
        for number in range(kills):
            target = copies / f"copy_{number}.sqlite"
            with desk.at_work(server, uploaders=1):
                desk.first_answer.wait(60)
                sent_before = dict(told.trials)
                backup = start_command("backup", str(target), "--data", str(folder))
                wait_for(lambda at=target: at.exists() or any(copies.glob(f"{at.name}.*")), backup)
                time.sleep(chance.uniform(0.0, 0.15))
                of_server = number % 3 == 2
                if of_server:
                    server.kill()
                else:
                    backup.kill()
                _, err = backup.communicate(timeout=120)
            if of_server:
                assert backup.returncode == 0, err
                server = Served(folder)
                met.started(server)
            met.killed(
                "the server, while the copy was made"
                if of_server
                else "the copy was finished"
                if target.exists()
                else "the copy was unfinished"
            )
            if target.exists():
                verify_copy(target)
                none(missing_trials(target, sent_before))
            again = run_command("backup", str(copies / f"again_{number}.sqlite"), "--data", str(folder))
            assert again.returncode == 0, again.stderr
            nothing_lost(server, store, told)
            none(told.refused)
            for made in (target, copies / f"again_{number}.sqlite"):
                made.unlink(missing_ok=True)
            on_kill(met)
    finally:
        server.stop()
    no_traceback(folder)
    met.acknowledged = len(told.trials) + len(told.marks) + len(told.waiting)
    return met

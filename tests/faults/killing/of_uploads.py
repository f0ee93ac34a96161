"""Kills the server during uploads."""

import random
import time
from pathlib import Path

from tests.faults.bench_under_load import Acknowledged, Desk, make_bench
from tests.faults.killing.kills import Kills, OnKill, no_progress, no_traceback, none, nothing_lost
from tests.faults.real_process import Served


def kill_during_uploads(folder: Path, kills: int, chance: random.Random, on_kill: OnKill = no_progress) -> Kills:
    """Kills the server while three people send logs, one moves marks and one leaves uploads waiting."""
    met = Kills("uploads and changes of marks")
    store, told = make_bench(folder), Acknowledged()
    desk = Desk(told)
    server = Served(folder)
    try:
        for _ in range(kills):
            before = len(told.trials)
            with desk.at_work(server):
                if chance.random() < 0.7:  # the others fall into the first seconds, when libraries are still loading
                    desk.first_answer.wait(60)
                time.sleep(chance.uniform(0.0, 1.5))
                server.kill()
            met.killed("before the first answer" if len(told.trials) == before else "between answers")
            server = Served(folder)
            met.started(server)
            nothing_lost(server, store, told)
            none(told.refused)
            on_kill(met)
    finally:
        server.stop()
    no_traceback(folder)
    met.acknowledged = len(told.trials) + len(told.marks) + len(told.waiting)
    return met

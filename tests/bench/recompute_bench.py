"""Re-analysis of a stored bench, against reading the same readings from the same file.

Ours: `plan_recompute` on all cores: readings, analysis of every particle channel, and the list of what would move.
By hand: one connection that selects each log's readings, all eight channels, and fetches the rows. The aim is at
most three times the time by hand for 1,000 trials of 10,800 readings; a smaller number gives the same ratio sooner.
"""

import argparse
import os
import resource
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import text

from app.reading_files.log_table import ReadingChoices
from app.reading_files.read_log import read_log
from app.services.adding_trials.add import add_read_trial
from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.logs.readings import read_columns, write_readings
from app.services.logs.trial_fields import NewTrial
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.results.recompute import plan_recompute
from app.services.results.update_derived import update_all_derived_results
from app.services.store.open import open_store
from app.services.units.definitions import NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit
from app.settings import Settings
from app.storage.engine import session_scope
from tests.bench.import_bench import three_hour_log

AIM = 3.0
TRIALS = 100
ROUNDS = 3


@dataclass(frozen=True)
class Ratios:
    """Re-analysis over reading by hand.

    wall : of the shortest times by the clock; by_core : of processor time shared over the cores, which says what an
    otherwise idle machine would take and hardly moves when the machine is busy with something else
    """

    wall: float
    by_core: float


def ratio(trials: int = TRIALS) -> float:
    """Shortest time of a re-analysis over the shortest time of reading by hand, by the clock."""
    return ratios(trials).wall


def ratios(trials: int = TRIALS, on_progress: Callable[[int, int, str], None] | None = None) -> Ratios:
    """Both ratios, taken in turns."""
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(Path(folder))
        _fill(settings, trials)
        engine = open_store(settings)
        ours, by_hand = [], []
        for _ in range(ROUNDS):
            by_hand.append(_timed(lambda: _read_by_hand(settings.data_folder / "bench.sqlite", trials)))
            ours.append(_timed(lambda: plan_recompute(engine, on_progress)))
        engine.dispose()
    cores = os.cpu_count() or 1
    wall, processor = (min(time[which] for time in ours) / min(time[which] for time in by_hand) for which in (0, 1))
    return Ratios(wall, processor / cores)


def _fill(settings: Settings, trials: int) -> None:
    """A bench whose trials have logs of their own: a few are made, the others are copies with another name."""
    engine = open_store(settings)
    with session_scope(engine) as session:
        room = add_room(session, NewRoom(name="Room", length_m=4, width_m=3, height_m=2.5))
        unit = add_unit(session, NewUnit(maker="Maker", model="Model", kind="mechanical filter"))
        setting = add_setting(session, unit, NewSetting(name="high", is_highest=True))
        trial = NewTrial(kind=UNIT_RUNNING, room_id=room, unit_under_test_id=unit, setting_id=setting)
        made = min(trials, 8)
        for seed in range(made):
            content = three_hour_log(seed)
            table = read_log(content, f"{seed}.csv")
            add_read_trial(session, content, table, trial, ReadingChoices(), settle=False)
        for number in range(made + 1, trials + 1):
            _copy_trial(session.connection(), (number - 1) % made + 1, number)
        update_all_derived_results(session, why="filled", record=False)
    engine.dispose()


def _copy_trial(connection, source: int, target: int) -> None:
    for table, own, keys in (
        ("logs", "id", {}),
        ("log_channels", "log_id", {}),
        ("trials", "id", {"log_id": target}),
        ("channel_results", "trial_id", {"id": None}),
    ):
        columns = [row[1] for row in connection.execute(text(f"PRAGMA table_info({table})"))]
        told = {own: target} | keys
        values = ", ".join(
            "NULL" if told.get(c, 0) is None else str(told[c]) if c in told else f'"{c}"' for c in columns
        )
        connection.execute(text(f"INSERT INTO {table} SELECT {values} FROM {table} WHERE {own} = {source}"))
    log = read_columns(connection, source, [(place, str(place), "") for place in range(8)])
    write_readings(connection, target, log.elapsed_s, list(log.levels.values()))


def _read_by_hand(path: Path, trials: int) -> int:
    rows = 0
    columns = ", ".join(f"value_{number:02d}" for number in range(1, 9))
    with closing(sqlite3.connect(path)) as store:
        for log_id in range(1, trials + 1):
            log = f"SELECT first_reading, first_reading + readings FROM logs WHERE id = {log_id}"
            ((first, end),) = store.execute(log).fetchall()
            select = f"SELECT elapsed_s, {columns} FROM readings WHERE id >= {first} AND id < {end} ORDER BY id"
            rows += len(store.execute(select).fetchall())
    return rows


def _timed(function: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the clock, and of processor time in this process and those that it started."""
    start, before = time.perf_counter(), _processor_s()
    function()
    return time.perf_counter() - start, _processor_s() - before


def _processor_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--trials", type=int, default=TRIALS)
    asked = parser.parse_args()
    found = ratios(asked.trials)
    print(
        f"re-analysis of {asked.trials} trials × 10,800 readings: {found.wall:.2f} times reading by the clock, "
        f"{found.by_core:.2f} by processor time over the cores (aim {AIM:g})"
    )

"""Kills the server while it migrates an older store."""

import random
import shutil
import time
from pathlib import Path

from app.services.store.backup import verify_copy
from tests.faults.killing.kills import Kills, OnKill, filled_bench, no_progress, no_traceback, none, wait_for
from tests.faults.killing.older_store import make_older_store, revision_of, rows_of_each_table
from tests.faults.real_process import Served, served
from tests.faults.whole_store import faults_of
from tests.storage.migrated import EARLIER, REVISIONS

TRIALS = 24


def kill_during_migration(
    folder: Path, kills: int, chance: random.Random, on_kill: OnKill = no_progress, trials: int = TRIALS
) -> Kills:
    """Kills the server while it brings a filled store of an earlier version up to date."""
    met = Kills("migration")
    folder.mkdir()
    present = filled_bench(folder / "present", trials)
    older = {revision: folder / f"{revision}.sqlite" for revision in EARLIER}
    for revision, path in older.items():
        make_older_store(present, path, revision)
    for number in range(kills):
        revision = chance.choice(EARLIER)
        there = folder / f"killed_{number}"
        there.mkdir()
        store = Path(shutil.copyfile(older[revision], there / "bench.sqlite"))
        rows = rows_of_each_table(store)
        for _ in range(chance.choice((1, 1, 2))):  # now and then the next start is killed too
            server = Served(there, wait=False)
            if chance.random() < 0.8:
                wait_for(lambda folder=there: _has_begun(folder), server.process)
            time.sleep(chance.uniform(0.0, chance.choice((0.02, 0.2, 0.6))))  # most of a start is over before it begins
            server.kill()
            met.killed(_moment_of_migration(there, revision))
        with served(there) as server:
            met.started(server)
            assert revision_of(store) == REVISIONS[-1]
            after = rows_of_each_table(store)
            none([f"{name}: {rows[name]} rows, then {after.get(name)}" for name in rows if rows[name] != after[name]])
            none(faults_of(store))
        for copy in there.glob("bench.sqlite.before-*"):
            if not copy.name.endswith((".unfinished", "-journal")):
                verify_copy(copy)
        none([path.name for path in there.glob("*.unfinished*")])
        no_traceback(there)
        shutil.rmtree(there)
        on_kill(met)
    return met


def _has_begun(there: Path) -> bool:
    return any(there.glob("bench.sqlite.before-*")) or (there / "bench.sqlite-wal").exists()


def _moment_of_migration(there: Path, revision: str) -> str:
    """How far the migration was, by what lies in the folder and what the store says of itself."""
    names = {path.name for path in there.iterdir()}
    if revision_of(there / "bench.sqlite") != revision:
        return "after the migration"
    if any(name.endswith(".unfinished") for name in names):
        return "while the store was copied"
    if any(".before-" in name for name in names):
        return "between the copy and the end of the migration"
    return "before the copy"

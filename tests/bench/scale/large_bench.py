"""Makes a large store for the speed measurements: `python -m tests.bench.scale.large_bench PATH --units 1000`.

The rows go straight into the tables, with results drawn around a true value instead of being analysed, so that
1,000 units and 10,000 trials stand within seconds. The readings, where asked for, are the decays that belong to the
drawn rates. Its raw files are one line each, or where asked for the readings as CSV. Nothing in it was measured; the
bench is marked as invented.
"""

import argparse
import hashlib
import sqlite3
import time
from contextlib import closing
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Connection, delete, insert

from app.services.store.open import open_store
from app.settings import Settings
from app.storage.column_types import packed
from app.storage.models.all_models import METADATA
from app.storage.models.logs import VALUE_COLUMNS
from tests.bench.scale.large_bench_results import CHANNELS, BenchTruth, result_rows, summary_rows
from tests.bench.scale.large_bench_rows import NATURAL_DECAY, ROOMS, Row, at_noon, bench_rows, unit_rows

READING_CHANNELS = (*CHANNELS, "relative_humidity", "temperature")
METHOD_VERSION = "generated"


@dataclass(frozen=True, slots=True)
class LargeStore:
    """What was made. `reading_values` counts the values in the readings table."""

    path: Path
    units: int
    settings: int
    trials: int
    empty_room_trials: int
    reading_values: int
    seconds: float

    @property
    def url(self) -> str:
        return f"sqlite:///{self.path}"


def make_large_store(
    path: Path | str,
    units: int = 1000,
    trials: int = 10_000,
    readings_per_trial: int = 0,
    *,
    seed: int = 20240108,
    raw_logs: bool = False,
) -> LargeStore:
    """A store at `path` (which must not exist) with so many units and trials, two in a hundred with an empty room,
    and `readings_per_trial` rows of five channels for each trial (10,000 × 1,000 × 5 = 50 million values).

    raw_logs : with the readings as CSV in the raw files, in place of a line each
    """
    path = Path(path)
    if path.exists():
        raise FileExistsError(f"{path} exists; give the path of a store that is still to be made.")
    began = time.perf_counter()
    rng = np.random.default_rng(seed)
    engine = open_store(Settings(path.parent, database_url=f"sqlite:///{path}"))
    with engine.begin() as connection:
        connection.execute(delete(METADATA.tables["bench"]))
        for table, rows in bench_rows().items():
            _insert(connection, table, rows)
        tables, true_rates = unit_rows(units, rng)
        for table, rows in tables.items():
            _insert(connection, table, rows)
        truth = _truth(tables["speed_settings"], true_rates, trials, rng)
        _insert_trials(connection, truth)
        _insert_results(connection, truth, rng)
        if readings_per_trial:
            _insert_readings(connection, truth, readings_per_trial, rng, raw_logs)
    engine.dispose()
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("ANALYZE")
        plain.commit()
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return LargeStore(
        path=path,
        units=units,
        settings=len(true_rates),
        trials=trials,
        empty_room_trials=int(np.sum(truth.setting == 0)),
        reading_values=trials * readings_per_trial * len(READING_CHANNELS),
        seconds=time.perf_counter() - began,
    )


def _truth(settings: list[Row], true_rates: np.ndarray, trials: int, rng: np.random.Generator) -> BenchTruth:
    """Which setting each trial runs (0: empty room), in which room, and its total decay by channel [1/h]."""
    numbers = np.arange(trials)
    empty = numbers % 50 == 0
    setting = np.where(empty, 0, 1 + (numbers - numbers // 50 - 1) % len(true_rates))
    room = np.where(empty, 1 + (numbers // 50) % 2, 1)
    volume = np.array([0.0, *(length * width * height for _, _, length, width, height in ROOMS)])
    rate = np.concatenate([[0.0], true_rates])[setting]
    # The spread from trial to trial is 4 % of the rate and 0.015 per hour of the natural decay.
    drawn = rate / volume[room] * (1 + 0.04 * rng.standard_normal(trials))
    total = {
        channel: np.maximum(natural + drawn + 0.015 * rng.standard_normal(trials), 0.02)
        for channel, natural in NATURAL_DECAY.items()
    }
    unit_of_setting = np.array([0, *(int(str(row["unit_under_test_id"])) for row in settings)])
    return BenchTruth(
        setting=setting,
        unit=unit_of_setting[setting],
        room=room,
        volume_m3=volume[room],
        total_decay_per_h=total,
        start_level=rng.uniform(180, 420, trials),
        day=(numbers * 500) // max(trials, 1),
        run_h=np.where(empty, 3.0, 1.5),
    )


def _insert(connection: Connection, table: str, rows: list[Row]) -> None:
    if rows:
        connection.execute(insert(METADATA.tables[table]), rows)


def _insert_trials(connection: Connection, truth: BenchTruth) -> None:
    raw_files: list[Row] = []
    logs: list[Row] = []
    channels: list[Row] = []
    trials: list[Row] = []
    for index in range(len(truth.setting)):
        trial_id = index + 1
        content = f"generated log {trial_id}\n".encode()
        sha256 = hashlib.sha256(content).hexdigest()
        started = at_noon(int(truth.day[index])) + timedelta(minutes=7 * (index % 60))
        raw_files.append({"sha256": sha256, "size_bytes": len(content), "content": content, "stored_at": started})
        logs.append(
            {
                "id": trial_id,
                "sha256": sha256,
                "file_name": f"generated_{trial_id}.csv",
                "encoding": "utf-8",
                "delimiter": ",",
                "decimal_mark": ".",
                "header_line": 1,
                "timezone": "UTC",
                "day_first": None,
                "started_at": started,
                "clock_is_known": True,
                "interval_s": 10.0,
                "readings": 0,
                "rows_skipped": 0,
                "stored_at": started,
            }
        )
        channels.extend(
            {
                "log_id": trial_id,
                "position": position,
                "channel": channel,
                "unit": {"relative_humidity": "%", "temperature": "°C"}.get(channel, "µg/m³"),
                "file_header": channel,
            }
            for position, channel in enumerate(READING_CHANNELS)
        )
        running = truth.setting[index] > 0
        trials.append(
            {
                "id": trial_id,
                "kind": "unit running" if running else "empty room",
                "unit_under_test_id": int(truth.unit[index]) if running else None,
                "setting_id": int(truth.setting[index]) if running else None,
                "room_id": int(truth.room[index]),
                "smoke_source_id": 1,
                "logger_id": 1,
                "log_id": trial_id,
                "started_at": started,
                "tested_by": "script",
                "created_at": started,
            }
        )
    for table, rows in (("raw_files", raw_files), ("logs", logs), ("log_channels", channels), ("trials", trials)):
        _insert(connection, table, rows)


def _insert_results(connection: Connection, truth: BenchTruth, rng: np.random.Generator) -> None:
    pools, pool_runs, results, notes = result_rows(truth, METHOD_VERSION, rng)
    _insert(connection, "natural_decay_pools", pools)
    _insert(connection, "natural_decay_pool_runs", pool_runs)
    _insert(connection, "channel_results", results)
    _insert(connection, "result_notes", notes)
    _insert(connection, "setting_summaries", summary_rows(truth, results, METHOD_VERSION))


def _insert_readings(
    connection: Connection, truth: BenchTruth, rows: int, rng: np.random.Generator, raw_logs: bool
) -> None:
    """Smoke for a tenth of the run, then the decay with 2 % noise, in steps of 0.1, as a logger would write it."""
    columns = ", ".join(VALUE_COLUMNS[: len(READING_CHANNELS)])
    marks = ", ".join("?" * (1 + len(READING_CHANNELS)))
    statement = f"INSERT INTO readings (elapsed_s, {columns}) VALUES ({marks})"
    raw = connection.connection.driver_connection
    assert raw is not None
    smoke = max(rows // 10, 1)
    for index in range(len(truth.setting)):
        run_h = float(truth.run_h[index])
        hours = np.linspace(0.0, run_h, rows)
        since_on = np.maximum(hours - hours[smoke - 1], 0.0)
        rise = np.minimum(np.arange(1, rows + 1) / smoke, 1.0)
        values = []
        for channel, share in zip(CHANNELS, (0.8, 1.0, 1.15), strict=True):
            decay = np.exp(-truth.total_decay_per_h[channel][index] * since_on)
            level = 3.0 + share * truth.start_level[index] * rise * decay
            values.append(np.round(level * (1 + 0.02 * rng.standard_normal(rows)), 1).tolist())
        values.append(np.round(45 + rng.standard_normal(rows), 1).tolist())
        values.append(np.round(21 + 0.1 * rng.standard_normal(rows), 2).tolist())
        elapsed = np.round(3600 * hours, 1).tolist()
        raw.executemany(statement, zip(elapsed, *values, strict=True))
        if raw_logs:
            _replace_raw_file(raw, index + 1, list(zip(elapsed, *values, strict=True)))
    raw.execute("UPDATE logs SET readings = ?, first_reading = 1 + (id - 1) * ?", (rows, rows))


def _replace_raw_file(raw: Any, log_id: int, rows: list[tuple[float, ...]]) -> None:
    """The log as a logger would have written it, stored as the program stores it."""
    line = ",".join(["%g"] * (1 + len(READING_CHANNELS)))
    content = "\n".join([",".join(("elapsed_s", *READING_CHANNELS)), *(line % row for row in rows), ""]).encode()
    (former,) = raw.execute("SELECT sha256 FROM logs WHERE id = ?", (log_id,)).fetchone()
    sha256 = hashlib.sha256(content).hexdigest()
    raw.execute(
        "INSERT INTO raw_files SELECT ?, ?, ?, stored_at FROM raw_files WHERE sha256 = ?",
        (sha256, len(content), packed(content), former),
    )
    raw.execute("UPDATE logs SET sha256 = ? WHERE id = ?", (sha256, log_id))
    raw.execute("DELETE FROM raw_files WHERE sha256 = ?", (former,))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("path", type=Path)
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--trials", type=int, default=10_000)
    parser.add_argument("--readings-per-trial", type=int, default=0)
    choices = parser.parse_args()
    made = make_large_store(choices.path, choices.units, choices.trials, choices.readings_per_trial)
    size_mb = choices.path.stat().st_size / 1e6
    print(
        f"{made.units} units, {made.settings} settings, {made.trials} trials ({made.empty_room_trials} with the room "
        f"empty), {made.reading_values} values, {size_mb:.0f} MB in {made.seconds:.1f} s: {made.path}"
    )


if __name__ == "__main__":
    main()

"""Import of a three-hour log: reading, analysis and storage, against reading and storing the same table by hand.

Ours: `add_trial` on a fresh store: recognition of the columns, every row's time, decay fit with interval in each
particle channel, raw file, readings, results, summaries. By hand: `pandas.read_csv` and one `executemany` into a
table with a column for each channel. The aim is at most two and a half times the time by hand. Both are processor time:
by the clock, a disk that is busy with something else would slow the shorter side more and flatter ours.
"""

import sqlite3
import statistics
import tempfile
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

import numpy as np
import pandas as pd

from app.services.adding_trials.add import add_trial
from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.logs.trial_fields import NewTrial
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.store.open import open_store
from app.services.units.definitions import NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit
from app.settings import Settings
from app.storage.engine import session_scope

AIM = 2.5
ROUNDS = 15
ROWS = 10_800


def ratio() -> float:
    """Median time of our import over the median time by hand, taken in turns."""
    ours, by_hand = [], []
    with tempfile.TemporaryDirectory() as folder:
        bench = _Bench(Path(folder))
        for number in range(ROUNDS + 1):
            content = three_hour_log(seed=number)
            ours.append(_timed(bench.add, content))
            by_hand.append(_timed(_import_by_hand, content, Path(folder) / f"by_hand_{number}.sqlite"))
        bench.close()
    # the first round loads what is loaded when used
    return statistics.median(ours[1:]) / statistics.median(by_hand[1:])


def three_hour_log(seed: int, rows: int = ROWS) -> bytes:
    """A log of 1 Hz with the eight channels of a usual indoor logger; the masses and VOC are analysed."""
    random = np.random.default_rng(seed)
    minutes = np.arange(rows) / 60
    rise = np.clip((minutes - 10) / 5, 0, 1)
    excess = 400 * rise * np.exp(-3.0 * np.clip(minutes - 15, 0, None) / 60)
    start = datetime(2026, 1, 5, 10, tzinfo=UTC) + timedelta(days=seed)
    mass = {
        f"{name} [µg/m³]": np.round((4 + excess) * share * (1 + 0.02 * random.standard_normal(rows)), 2)
        for name, share in (("PM1", 0.8), ("PM2.5", 1.0), ("PM10", 1.1))
    }
    gas = {
        "VOC [ppm]": np.round((0.2 + excess / 400) * (1 + 0.02 * random.standard_normal(rows)), 3),
        "CO2 [ppm]": np.round(520 + 2 * random.standard_normal(rows)),
    }
    room = {
        "Temperature [°C]": np.round(21 + 0.1 * random.standard_normal(rows), 2),
        "Humidity [%]": np.round(45 + 0.3 * random.standard_normal(rows), 1),
        "Pressure [hPa]": np.round(1013 + 0.1 * random.standard_normal(rows), 1),
    }
    times = [(start + timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ") for second in range(rows)]
    table = pd.DataFrame({"time": times, **mass, **gas, **room})
    return table.to_csv(index=False).encode()


class _Bench:
    def __init__(self, folder: Path) -> None:
        self._engine = open_store(Settings(folder / "bench"))
        with session_scope(self._engine) as session:
            self._room = add_room(session, NewRoom(name="Room", length_m=4, width_m=3, height_m=2.5))
            self._unit = add_unit(session, NewUnit(maker="Maker", model="Model", kind="mechanical filter"))
            self._setting = add_setting(session, self._unit, NewSetting(name="high", is_highest=True))

    def add(self, content: bytes) -> None:
        trial = NewTrial(kind=UNIT_RUNNING, room_id=self._room, unit_under_test_id=self._unit, setting_id=self._setting)
        with session_scope(self._engine) as session:
            add_trial(session, content, "log.csv", trial)

    def close(self) -> None:
        self._engine.dispose()


def _import_by_hand(content: bytes, path: Path) -> None:
    table = pd.read_csv(BytesIO(content))
    columns = ", ".join(f"c{number}" for number in range(len(table.columns)))
    marks = ", ".join("?" for _ in table.columns)
    with closing(sqlite3.connect(path)) as store:
        store.execute("PRAGMA journal_mode = WAL")
        store.execute(f"CREATE TABLE readings ({columns})")
        rows = zip(*(table[name].tolist() for name in table.columns), strict=True)
        store.executemany(f"INSERT INTO readings VALUES ({marks})", rows)
        store.commit()


def _timed(function, *arguments) -> float:
    start = time.process_time()
    function(*arguments)
    return time.process_time() - start


if __name__ == "__main__":
    print(f"import of {ROWS} rows × 8 channels: {ratio():.2f} times pandas.read_csv and a raw insert (aim {AIM:g})")

"""What ten years of data take: `python -m tests.bench.scale.ten_years --shares 0.025 0.05 0.1`.

Ten years are 2,000 units, 40,000 trials and 400 million readings (2,000 rows of five channels a trial), with their raw
logs. Makes benches of these shares of them, one after the other, and measures each: the size of the store and of its
raw logs, a verified backup, and a check of everything. Seconds are processor time, which other programs on the machine
change less than the clock. A share that costs in proportion to its size has the same figure a million readings as the
others; only then may the figures of ten years be read off. The pages are measured by `tests.bench.scale` with
`--units 2000 --trials 40000`, because they depend on units and trials and not on readings.
"""

import argparse
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import text

from app.services.store.backup import backup_store
from app.services.store.check import check_store
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from tests.bench.scale.large_bench import READING_CHANNELS, make_large_store

UNITS, TRIALS, ROWS_PER_TRIAL = 2_000, 40_000, 2_000


@dataclass(frozen=True, slots=True)
class Measured:
    """Of one share. Sizes in MB, times in s of the processor."""

    share: float
    units: int
    trials: int
    millions: float
    store_mb: float
    raw_mb: float
    raw_stored_mb: float
    made_s: float
    backup_s: float
    check_s: float


def measure(share: float, folder: Path) -> Measured:
    """Raises AssertionError where the check or the copy finds anything wrong."""
    units, trials = round(share * UNITS), round(share * TRIALS)
    settings = Settings(folder)
    begun = time.process_time()
    make_large_store(folder / "bench.sqlite", units, trials, ROWS_PER_TRIAL, raw_logs=True)
    made_s = time.process_time() - begun
    engine = open_store(settings)
    with session_scope(engine, writes=False) as session:
        raw, stored = session.execute(text("SELECT sum(size_bytes), sum(length(content)) FROM raw_files")).one()
    begun = time.process_time()
    done = backup_store(settings)
    backup_s = time.process_time() - begun
    assert done.rows["trials"] == trials
    done.path.unlink()
    begun = time.process_time()
    checked = check_store(engine)
    check_s = time.process_time() - begun
    engine.dispose()
    assert checked.sound, [finding.message for finding in checked.findings if finding.wrong][:3]
    store = (folder / "bench.sqlite").stat().st_size
    return Measured(
        *(share, units, trials, trials * ROWS_PER_TRIAL * len(READING_CHANNELS) / 1e6),
        *(store / 1e6, raw / 1e6, stored / 1e6, made_s, backup_s, check_s),
    )


def line(one: Measured) -> str:
    return (
        f"{one.share:6.3f}{one.units:7}{one.trials:8}{one.millions:11.1f}{one.store_mb:10.0f}{one.raw_mb:9.0f}"
        f"{one.raw_stored_mb:12.0f}{one.made_s:9.1f}{one.backup_s:9.2f}{one.check_s:9.2f}"
        f"{one.store_mb / one.millions:12.2f}{1000 * one.backup_s / one.millions:12.1f}"
        f"{1000 * one.check_s / one.millions:12.1f}"
    )


HEAD = (
    " share  units  trials  M readings  store MB  logs MB  as stored MB   made s backup s  check s"
    "  MB a M rdg  ms bkp a M  ms chk a M"
)

if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shares", type=float, nargs="+", default=[0.025, 0.05, 0.1])
    parser.add_argument("--folder", type=Path, help="where to make the benches; a temporary folder otherwise")
    choices = parser.parse_args()
    print(HEAD, flush=True)
    for each in choices.shares:
        with tempfile.TemporaryDirectory(dir=choices.folder) as place:
            print(line(measure(each, Path(place))), flush=True)

"""Whatever the bytes are, a log is read or refused as UnreadableLog with a message, and within bounded time.

Several hundred inputs here; `python -m tests.studies.any_log N` runs as many as asked for.
"""

import time

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.errors import UnreadableLog
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from tests.reading_files.hostile.mutated_logs import SEEDS, mutate

LONGEST_S = 10.0  # far above what any of these takes; a runaway loop takes for ever

ODD_CELLS = [
    *("", "time", "date", "PM2.5", "PM1 (mg/m3)", "temp", "1", "2.5", "-1e308", "1e309", "2026-01-05", "nan"),
    *("10:00:00", "2026-01-05 10:00:00", "05/06/2026", "0001-01-01", "9999-12-31 23:59:59", "1e18", "9e15", "0"),
    *('"', '"a,b"', "a\x00b", "µg/m³", "value", "parameter", "unit", "box1", "device", "24:00:00", "Z", "Elapsed [s]"),
]

few = settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


def check_read_or_refused(content: bytes, file_name: str = "log.csv", choices: ReadingChoices | None = None) -> None:
    """Reads the bytes and checks what comes out."""
    begun = time.perf_counter()
    try:
        log = read_log(content, file_name, choices)
    except UnreadableLog as problem:
        message = problem.message
    else:
        message = None
        check_promises(log)
    if message is not None:
        assert message.startswith(file_name or "the file")
        assert len(message) > 40
        assert message.isprintable()
    assert time.perf_counter() - begun < LONGEST_S


def check_promises(log: LogTable) -> None:
    """What a log promises to whoever stores it or fits it."""
    assert len(log.elapsed_s) > 0
    assert log.elapsed_s[0] == 0
    assert (np.diff(log.elapsed_s) > 0).all()
    assert np.isfinite(log.elapsed_s).all()
    assert np.isfinite(log.interval_s)
    assert log.levels
    assert set(log.levels) == set(log.units)
    for levels in log.levels.values():
        assert levels.shape == log.elapsed_s.shape
        assert not np.isinf(levels).any()
        assert not np.isnan(levels).all()
    assert log.started_at.utcoffset() is not None
    assert log.rows_read >= len(log.elapsed_s)
    assert log.rows_skipped >= 0
    assert {column.channel for column in log.columns if column.channel} >= set(log.levels)


@few
@given(seed=st.sampled_from(sorted(SEEDS)), numbers=st.lists(st.integers(0, 2**32 - 1), min_size=1, max_size=6))
def test_mutated_logs(seed, numbers):
    check_read_or_refused(mutate(SEEDS[seed], numbers))


@few
@given(content=st.binary(max_size=400))
def test_any_bytes(content):
    check_read_or_refused(content)


@few
@given(
    cells=st.lists(
        st.lists(
            st.sampled_from(ODD_CELLS),
            min_size=1,
            max_size=5,
        ),
        min_size=1,
        max_size=8,
    ),
    delimiter=st.sampled_from([",", ";", "\t", " ", "|"]),
    zone=st.sampled_from([None, "Europe/Berlin", "UTC-12:00", "nowhere"]),
    day_first=st.sampled_from([None, True, False]),
    box=st.sampled_from([None, "box1", ""]),
)
def test_tables_of_odd_cells(cells, delimiter, zone, day_first, box):
    text = "\n".join(delimiter.join(row) for row in cells)
    choices = ReadingChoices(timezone=zone, day_first=day_first, box=box, columns={"temp": "pm10"} if zone else {})
    check_read_or_refused(text.encode(), "", choices)

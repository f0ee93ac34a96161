"""Readings in and out of the store, and thinned for a chart."""

import numpy as np
import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.logs.readings import read_readings, thin_readings, thinned_positions, write_readings
from app.storage.engine import session_scope
from app.storage.models.logs import Log, LogChannel, RawFile
from tests.conftest import NOW


def _store(engine: Engine, elapsed_s: np.ndarray, levels: dict[str, np.ndarray]) -> int:
    with session_scope(engine) as session:
        session.add(RawFile(sha256="a" * 64, size_bytes=1, content=b"x", stored_at=NOW))
        session.flush()
        log = Log(
            sha256="a" * 64,
            file_name="log.csv",
            encoding="utf-8",
            delimiter=",",
            decimal_mark=".",
            header_line=1,
            timezone="UTC",
            started_at=NOW,
            clock_is_known=True,
            interval_s=1.0,
            readings=len(elapsed_s),
            rows_skipped=0,
            stored_at=NOW,
        )
        session.add(log)
        session.flush()
        for position, name in enumerate(levels):
            session.add(LogChannel(log_id=log.id, position=position, channel=name, unit="µg/m³", file_header=name))
        session.flush()
        write_readings(session.connection(), log.id, elapsed_s, list(levels.values()))
        return log.id


@pytest.mark.parametrize("rows", [1, 99, 100, 101, 250])
@pytest.mark.parametrize("channels", [1, 16, 17, 40])
def test_any_number_of_channels_and_rows_comes_back_exactly(store: Engine, rows: int, channels: int):
    random = np.random.default_rng(1)
    elapsed = np.cumsum(random.uniform(0.5, 2.0, rows))
    levels = {f"band_{number}": random.normal(size=rows) for number in range(channels)}
    log_id = _store(store, elapsed, levels)
    with session_scope(store, writes=False) as session:
        found = read_readings(session, log_id)
    assert np.array_equal(found.elapsed_s, elapsed)
    assert list(found.levels) == list(levels)
    for name, level in levels.items():
        assert np.array_equal(found.levels[name], level)


def test_missing_readings_stay_missing(store: Engine):
    level = np.array([1.0, np.nan, 3.0, np.inf])
    log_id = _store(store, np.arange(4.0), {"pm1": level, "pm10": np.full(4, np.nan)})
    with session_scope(store, writes=False) as session:
        found = read_readings(session, log_id)
    assert np.array_equal(found.levels["pm1"], [1.0, np.nan, 3.0, np.nan], equal_nan=True)
    assert np.isnan(found.levels["pm10"]).all()


def test_one_channel_of_many_is_read_alone(store: Engine):
    levels = {f"band_{number}": np.full(5, float(number)) for number in range(20)}
    log_id = _store(store, np.arange(5.0), levels)
    with session_scope(store, writes=False) as session:
        found = read_readings(session, log_id, ["band_18"])
    assert list(found.levels) == ["band_18"]
    assert found.levels["band_18"].tolist() == [18.0] * 5


def test_a_log_or_channel_that_is_not_there_is_told(store: Engine):
    log_id = _store(store, np.arange(5.0), {"pm1": np.ones(5), "pm10": np.ones(5)})
    with session_scope(store, writes=False) as session:
        with pytest.raises(NotFound, match="There is no log 99 in this bench"):
            read_readings(session, 99)
        with pytest.raises(InvalidValue, match="The log holds no channel 'voc'; it holds: pm1, pm10") as refused:
            read_readings(session, log_id, ["voc"])
    assert refused.value.field == "channel"


def test_thinning_keeps_the_peak_and_the_trough(store: Engine):
    elapsed = np.arange(20_000.0)
    level = 50 + 5 * np.sin(elapsed / 900)
    level[7777], level[15_001] = 900.0, -3.0
    level[100:140] = np.nan
    log_id = _store(store, elapsed, {"pm2_5": level})
    with session_scope(store, writes=False) as session:
        thin = thin_readings(session, log_id, "pm2_5", max_points=500)
    assert len(thin.levels) <= 500
    assert thin.readings == 19_960
    assert thin.levels.max() == 900.0
    assert thin.levels.min() == -3.0
    assert np.isfinite(thin.levels).all()
    assert (np.diff(thin.elapsed_s) > 0).all()
    assert set(thin.elapsed_s) <= set(elapsed)


def test_a_short_log_is_not_thinned(store: Engine):
    log_id = _store(store, np.arange(5.0), {"pm2_5": np.array([1.0, 2.0, np.nan, 4.0, 5.0])})
    with session_scope(store, writes=False) as session:
        thin = thin_readings(session, log_id, "pm2_5", max_points=10)
        assert thin.levels.tolist() == [1.0, 2.0, 4.0, 5.0]
        assert _message(session, log_id, 2) == "max_points is 2; enter a whole number from 3 to 100000."


def _message(session: Session, log_id: int, points: int) -> str:
    with pytest.raises(InvalidValue) as refused:
        thin_readings(session, log_id, "pm2_5", points)
    return refused.value.message


def test_positions_of_a_short_curve_are_all_of_them():
    assert thinned_positions(np.arange(4.0), np.arange(4.0), 4).tolist() == [0, 1, 2, 3]

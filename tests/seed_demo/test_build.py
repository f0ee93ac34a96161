"""The demonstration is built through the services, once, and says that it is invented."""

import hashlib
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from app.services.open_store import open_store
from app.settings import Settings
from app.storage.bench import Bench
from app.storage.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.logs import RawFile
from app.storage.tables import METADATA
from app.storage.trials import ChannelResult, SettingSummary, Trial
from app.storage.units_under_test import UnitUnderTest
from seed_demo.build import build_demo


@pytest.fixture(scope="module")
def quick(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Engine, list[tuple[int, int, str]], float]]:
    engine = open_store(Settings(tmp_path_factory.mktemp("quick")))
    told: list[tuple[int, int, str]] = []
    began = time.perf_counter()
    assert build_demo(engine, lambda *step: told.append(step), small=True)
    yield engine, told, time.perf_counter() - began
    engine.dispose()


def counts(engine: Engine) -> dict[str, int]:
    with engine.connect() as connection:
        return {t.name: connection.scalar(select(func.count()).select_from(t)) or 0 for t in METADATA.sorted_tables}


def test_the_quick_bench_holds_its_units_trials_and_results(quick):
    engine, _, _ = quick
    with Session(engine) as session:
        assert session.scalar(select(func.count()).select_from(UnitUnderTest)) == 5
        assert session.scalar(select(func.count()).select_from(Trial).where(Trial.kind == "unit running")) == 12
        assert session.scalar(select(func.count()).select_from(Trial).where(Trial.kind == "empty room")) == 3
        rates = session.scalars(
            select(SettingSummary.clean_air_delivery_rate_m3_per_h).where(SettingSummary.channel == "pm2_5")
        ).all()
        assert len(rates) == 7
        assert all(rate is not None for rate in rates)
        assert session.scalar(select(func.count()).select_from(SoundMeasurement)) > 20
        assert session.scalar(select(func.count()).where(PowerMeasurement.setting_id.is_(None))) == 5


def test_the_bench_says_that_it_is_invented(quick):
    with Session(quick[0]) as session:
        bench = session.get(Bench, 1)
        assert bench.invented
        assert "invented" in bench.name
        assert bench.scenario.startswith("Invented")


def test_a_filled_bench_is_left_alone(quick):
    engine, _, _ = quick
    before = counts(engine)
    assert build_demo(engine, small=True) is False
    assert counts(engine) == before


def test_progress_is_told_step_by_step_to_the_end(quick):
    told = quick[1]
    done = [step[0] for step in told]
    assert done == sorted(done)
    assert told[0][0] == 0
    assert told[-1][0] == told[-1][1] == 5 + 15 + 1
    assert all(words for _, _, words in told)


def test_two_builds_are_the_same_to_the_byte_and_the_digit(quick, tmp_path: Path):
    other = open_store(Settings(tmp_path / "other"))
    build_demo(other, small=True)
    assert fingerprint(other) == fingerprint(quick[0])
    other.dispose()


def test_the_raw_files_are_kept_as_they_were_written(quick):
    with Session(quick[0]) as session:
        for sha256, content in session.execute(select(RawFile.sha256, RawFile.content)):
            assert hashlib.sha256(content).hexdigest() == sha256


def fingerprint(engine: Engine) -> list[tuple[object, ...]]:
    """Raw files, and every result with all its digits."""
    with Session(engine) as session:
        files = session.execute(select(RawFile.sha256).order_by(RawFile.sha256)).all()
        results = session.execute(
            select(
                ChannelResult.trial_id,
                ChannelResult.channel,
                ChannelResult.computed_at,
                ChannelResult.total_decay_per_h,
                ChannelResult.clean_air_delivery_rate_m3_per_h,
                ChannelResult.clean_air_delivery_rate_low_95,
            ).order_by(ChannelResult.trial_id, ChannelResult.channel)
        ).all()
        assert len(results) >= 45
        return [tuple(row) for row in (*files, *results)]

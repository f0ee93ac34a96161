"""The demonstration is built through the services, once, and says that it is invented."""

import hashlib
import pickle
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from app.compute.decay.result import Marks
from app.reading_files.log_table import ReadingChoices
from app.services.adding_trials import worked_log
from app.services.logs.readings import LogReadings
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms, analyse_readings
from app.services.results.control_charts.room_charts import Source, room_charts
from app.services.results.control_charts.words import day_of
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.models.all_models import METADATA
from app.storage.models.bench import Bench
from app.storage.models.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.models.logs import RawFile
from app.storage.models.rooms import Room
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest
from seed_demo import worked_runs
from seed_demo.build import build_demo
from seed_demo.control_plan import AIR_CHANGE_AFTER_PER_H, CONTROL_ROOM, EVERY_DAYS, SHIFT_ON, control_runs
from seed_demo.scenario import UNITS
from seed_demo.trial_plan import all_trials, small_trials
from seed_demo.truth import true_rate

ANALYSES: list[AnalysisTerms] = []  # of the quick bench, in order


@pytest.fixture(scope="module")
def quick(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Engine, list[tuple[int, int, str]]]]:
    engine = open_store(Settings(tmp_path_factory.mktemp("quick")))
    told: list[tuple[int, int, str]] = []

    def analyse(readings: LogReadings, terms: AnalysisTerms) -> AnalysedTrial:
        ANALYSES.append(terms)
        return analyse_readings(readings, terms)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(worked_log, "analyse_readings", analyse)
        assert build_demo(engine, lambda *step: told.append(step), small=True)
    yield engine, told
    engine.dispose()


def counts(engine: Engine) -> dict[str, int]:
    with engine.connect() as connection:
        return {t.name: connection.scalar(select(func.count()).select_from(t)) or 0 for t in METADATA.sorted_tables}


def test_the_quick_bench_holds_its_units_trials_and_results(quick):
    engine, _ = quick
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


def test_each_run_is_analysed_once_by_the_terms_of_adding_it(quick):
    assert len(ANALYSES) == 15


def test_other_terms_than_those_worked_ahead_lead_to_another_analysis(quick):
    worked = worked_runs.work(worked_runs.RunTask(small_trials()[0], ReadingChoices(), ANALYSES[0]))
    readings = LogReadings(worked.table.elapsed_s, worked.table.levels, worked.table.units)
    assert worked.analyse(readings, replace(worked.terms)) is worked.analysed
    others = worked.analyse(readings, replace(worked.terms, marks=Marks(fit_end_h=0.9)))
    assert others.decays["pm2_5"].fit != worked.analysed.decays["pm2_5"].fit


def test_a_run_is_the_same_when_its_task_comes_from_another_process():
    task = worked_runs.RunTask(small_trials()[0], ReadingChoices(), AnalysisTerms())
    here, there = worked_runs.work(task), worked_runs.work(pickle.loads(pickle.dumps(task)))
    assert there.content == here.content
    assert pickle.dumps(there.analysed) == pickle.dumps(pickle.loads(pickle.dumps(here.analysed)))


def test_the_bench_says_that_it_is_invented(quick):
    with Session(quick[0]) as session:
        bench = session.get(Bench, 1)
        assert bench.invented
        assert "invented" in bench.name
        assert bench.scenario.startswith("Invented")


def test_a_filled_bench_is_left_alone(quick):
    engine, _ = quick
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


def test_two_builds_are_the_same_to_the_byte_and_the_digit(quick, demo_template: Path):
    other = open_store(Settings(demo_template.parent))
    assert fingerprint(other) == fingerprint(quick[0])
    other.dispose()


def test_the_raw_files_are_kept_as_they_were_written(quick):
    with Session(quick[0]) as session:
        for sha256, content in session.execute(select(RawFile.sha256, RawFile.content)):
            assert hashlib.sha256(content).hexdigest() == sha256


@pytest.fixture(scope="module")
def whole(whole_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    folder = tmp_path_factory.mktemp("whole")
    shutil.copyfile(whole_demo, folder / "bench.sqlite")
    engine = open_store(Settings(folder))
    yield engine
    engine.dispose()


def test_the_whole_bench_holds_dozens_of_units_and_trials(whole):
    with Session(whole) as session:
        assert session.scalar(select(func.count()).select_from(UnitUnderTest)) >= 26
        assert session.scalar(select(func.count()).select_from(Trial)) >= 100


def test_every_run_of_the_whole_bench_got_a_result_for_each_of_its_channels(whole):
    with Session(whole) as session:
        counted = session.execute(
            select(ChannelResult.trial_id, func.count())
            .where(ChannelResult.channel.in_(("pm1", "pm2_5", "pm10")))
            .group_by(ChannelResult.trial_id)
        ).all()
        assert {count for _, count in counted} == {3}
        assert len(counted) == len(all_trials()) + len(control_runs())


def test_the_chart_of_the_third_room_finds_the_shift_that_was_built_in(whole):
    """The seal came loose on a known day; the level rises by the change of the air exchange."""
    with Session(whole) as session:
        room = session.scalars(select(Room).where(Room.name == CONTROL_ROOM.name)).one()
        charts = room_charts(Source(session), room)
    assert charts.natural_decay.points[-1].run.day - charts.natural_decay.points[0].run.day > 2 * 365
    [shift] = charts.natural_decay.shifts
    assert abs((day_of(shift.first.day) - SHIFT_ON).days) <= EVERY_DAYS
    assert (day_of(shift.found.day) - SHIFT_ON).days <= 6 * EVERY_DAYS
    rise = AIR_CHANGE_AFTER_PER_H - CONTROL_ROOM.air_change_per_h
    assert shift.change.value == pytest.approx(rise, abs=3 * shift.change.uncertainty)
    assert shift.ended is None
    assert len(charts.check_unit.points) >= 17
    assert not charts.check_unit.shifts
    assert all("invented" in change.words for change in charts.changes)


def test_the_ordinary_settings_give_the_clean_air_that_is_true_of_them(whole):
    """Nineteen of twenty intervals are to hold the truth, and by being narrow: a wide one would prove nothing. Units
    of this bench repeat within two percent, and the volume of the room is known to 1.3 %."""
    inside, widths, found = [], [], summaries(whole)
    for unit in UNITS:
        if unit.kind == "water wash":
            continue  # a wet room misleads the loggers: told in a note, and tested by itself
        for speed in unit.speeds:
            row = found.get((unit.model, speed.name))
            if row is None:
                continue
            truth = true_rate(unit, speed).clean_air_m3_per_h
            low, high = row.clean_air_delivery_rate_low_95, row.clean_air_delivery_rate_high_95
            inside.append(low <= truth <= high)
            if truth > 50:
                widths.append((high - low) / 2 / truth)
    assert len(inside) > 60
    assert sorted(widths)[len(widths) // 2] < 0.06
    assert sum(inside) / len(inside) >= 0.90


def test_a_unit_that_does_nothing_is_said_to_do_nothing_measurable(whole):
    found = summaries(whole)
    for speed in ("steady", "pulse"):
        row = found["Plug", speed]
        assert row.measurable is False
        assert 0 < row.at_most_m3_per_h < 5
    assert all(found[unit.model, unit.highest.name].measurable for unit in UNITS if unit.kind == "mechanical filter")


def test_the_thimble_never_clears_and_its_time_is_a_lower_bound(whole):
    row = summaries(whole)["Thimble", "low"]
    assert row.time_to_clear_min is None
    assert row.not_cleared_before_min == pytest.approx(172.0, abs=0.5)


def test_excluded_runs_stay_listed_with_their_reason_and_out_of_the_mean(whole):
    with Session(whole) as session:
        excluded = session.scalars(select(Trial).where(Trial.excluded_at.is_not(None))).all()
        assert len(excluded) == 2
        assert all(trial.excluded_by and trial.excluded_why for trial in excluded)
    ledger = summaries(whole)["Ledger", "4"]
    assert (ledger.trials, ledger.usable_trials, ledger.excluded_trials) == (4, 3, 1)
    hutch = summaries(whole)["Hutch", "high"]
    assert (hutch.trials, hutch.usable_trials) == (3, 2)


def summaries(
    engine: Engine, channel: str = "pm2_5", room: str = "Churn room"
) -> dict[tuple[str, str], SettingSummary]:
    with Session(engine) as session:
        rows = session.execute(
            select(UnitUnderTest.model, SpeedSetting.name, SettingSummary)
            .join(UnitUnderTest, UnitUnderTest.id == SettingSummary.unit_under_test_id)
            .join(SpeedSetting, SpeedSetting.id == SettingSummary.setting_id)
            .join(Room, Room.id == SettingSummary.room_id)
            .where(SettingSummary.channel == "pm2_5", Room.name == "Churn room")
        ).all()
        return {(model, setting): summary for model, setting, summary in rows}


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

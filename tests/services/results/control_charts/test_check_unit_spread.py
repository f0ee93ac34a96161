"""The spread of the check unit in the intervals of other trials of its room."""

import math
from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, pooled_repeatability, with_spread
from app.services.bench.definitions import NewCheckUnit
from app.services.bench.room_changes import delete_check_unit, mark_check_unit
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.control_charts.check_unit_spread import (
    FEWEST_CHECK_RUNS,
    CheckUnitSpreads,
    is_check_run,
    rooms_checked_by_unit,
)
from app.services.results.control_charts.key import ChartKey
from app.services.results.update_derived import update_derived_results
from app.services.trials.detail import trial_detail
from app.services.trials.trash import trash_trial, trash_unit, untrash_unit
from app.services.trials.usable import of_aerosol, usable_trials
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, Trial
from tests.conftest import SmallBench
from tests.sample_data.control_bench import FIRST, WEEKS, add_runs, steady
from tests.sample_data.measured_facts import add_unit_with_setting

UNEVEN = [4.0, 4.6, 3.5, 4.4, 3.7, 4.8]  # 13 % between runs, more than any assumption


def key(bench: SmallBench, aerosol: str = "smoke") -> ChartKey:
    return ChartKey(bench.room_id, "pm2_5", aerosol)


def mark(session: Session, bench: SmallBench) -> int:
    return mark_check_unit(
        session, bench.room_id, bench.high_setting_id, NewCheckUnit(valid_from=FIRST.date()), who="Ada"
    )


def checked_room(session: Session, bench: SmallBench, checks: list[float] = UNEVEN) -> tuple[int, list[int]]:
    """An empty-room run a fortnight, runs of the check unit, and one trial of another unit; ids of trial and checks."""
    add_runs(session, bench.room_id, steady(len(checks)))
    ids = add_runs(session, bench.room_id, checks, setting=(bench.unit_id, bench.high_setting_id))
    other = add_unit_with_setting(session, "Other")
    [trial] = add_runs(session, bench.room_id, [3.0], setting=other, first=FIRST + timedelta(weeks=WEEKS * 3))
    update_derived_results(session, [trial, *ids], why="test")
    return trial, ids


def result_of(session: Session, trial_id: int) -> ChannelResult:
    return session.scalars(
        select(ChannelResult).where(ChannelResult.trial_id == trial_id).execution_options(populate_existing=True)
    ).one()


def test_the_spread_is_that_of_its_runs(session: Session, small_bench: SmallBench):
    checked_room(session, small_bench)
    assert CheckUnitSpreads(session).of(key(small_bench)) is None
    mark(session, small_bench)
    found = CheckUnitSpreads(session).of(key(small_bench))
    runs = [Measured(rate, 0.01) for rate in UNEVEN]
    assert found == pooled_repeatability([runs], ASSUMED_BETWEEN_TRIALS, "check unit").in_steps()
    assert CheckUnitSpreads(session).of(key(small_bench, "dust")) is None


def test_too_few_runs_have_no_spread(session: Session, small_bench: SmallBench):
    checked_room(session, small_bench, UNEVEN[: FEWEST_CHECK_RUNS - 1])
    mark(session, small_bench)
    assert CheckUnitSpreads(session).of(key(small_bench)) is None


def test_it_widens_the_rate_of_another_trial_and_stands_in_its_budget(session: Session, small_bench: SmallBench):
    trial, _ = checked_room(session, small_bench)
    before = result_of(session, trial)
    narrow, rate = before.clean_air_delivery_rate_uncertainty or 0.0, before.clean_air_delivery_rate_m3_per_h
    assert before.clean_air_delivery_rate_check_unit_share is None
    assert "check unit" not in {line.source for line in trial_detail(session, trial).channels[0].systematic}
    mark_id = mark(session, small_bench)
    after = result_of(session, trial)
    spread = CheckUnitSpreads(session).of(key(small_bench))
    assert spread is not None
    assert after.clean_air_delivery_rate_m3_per_h == pytest.approx(rate)
    own, wide = Measured(3.0, 0.01), with_spread(Measured(3.0, 0.01), spread)
    added = 30.0 * math.sqrt(wide.uncertainty**2 - own.uncertainty**2)  # the room has 30 m³
    assert after.clean_air_delivery_rate_uncertainty == pytest.approx(math.hypot(narrow, added), rel=1e-6)
    assert after.clean_air_delivery_rate_check_unit_share == spread.relative_sd
    delete_check_unit(session, mark_id, why="sold")
    again = result_of(session, trial)
    assert again.clean_air_delivery_rate_uncertainty == pytest.approx(narrow)
    assert again.clean_air_delivery_rate_check_unit_share is None


def test_a_summary_has_what_exceeds_the_repeatability_of_the_bench(session: Session, small_bench: SmallBench):
    trial, _ = checked_room(session, small_bench)
    other = result_of(session, trial)
    setting = session.scalars(select(SettingSummary).where(SettingSummary.latest_trial_id == other.trial_id)).one()
    narrow = setting.total_decay_uncertainty_per_h
    mark(session, small_bench)
    session.refresh(setting)
    assert setting.total_decay_uncertainty_per_h is not None
    assert narrow is not None
    assert setting.total_decay_uncertainty_per_h >= narrow


def test_a_further_or_removed_run_of_the_check_unit_moves_the_others(session: Session, small_bench: SmallBench):
    trial, _ = checked_room(session, small_bench, steady(6, level=4.0))
    mark(session, small_bench)
    before = result_of(session, trial).clean_air_delivery_rate_check_unit_share
    [odd] = add_runs(session, small_bench.room_id, [6.0], setting=(small_bench.unit_id, small_bench.high_setting_id))
    assert session.scalar(select(is_check_run()).where(Trial.id == odd))
    update_derived_results(session, [odd], why="a new run", new_trials=[odd])
    wider = result_of(session, trial).clean_air_delivery_rate_check_unit_share
    assert before is not None
    assert wider is not None
    assert wider > before
    trash_trial(session, odd, why="mistake")
    assert result_of(session, trial).clean_air_delivery_rate_check_unit_share == pytest.approx(before)
    assert not session.scalar(select(is_check_run()).where(Trial.id == trial))


def test_a_check_unit_in_the_trash_counts_for_nothing(session: Session, small_bench: SmallBench):
    trial, _ = checked_room(session, small_bench)
    mark(session, small_bench)
    assert rooms_checked_by_unit(session, small_bench.unit_id) == [small_bench.room_id]
    trash_unit(session, small_bench.unit_id, why="sold")
    assert result_of(session, trial).clean_air_delivery_rate_check_unit_share is None
    untrash_unit(session, small_bench.unit_id)
    assert result_of(session, trial).clean_air_delivery_rate_check_unit_share is not None


def test_the_natural_decay_of_dust_is_not_that_of_smoke(session: Session, small_bench: SmallBench):
    """Smoke falls at 0.5 per hour and dust at 1.5: each trial has the natural decay of its own aerosol, or none."""
    add_runs(session, small_bench.room_id, steady(3))
    own = (small_bench.unit_id, small_bench.high_setting_id)
    [smoke] = add_runs(session, small_bench.room_id, [4.0], setting=own)
    [dust] = add_runs(session, small_bench.room_id, [5.0], setting=own, aerosol="dust")
    update_derived_results(session, [smoke, dust], why="test")
    assert result_of(session, smoke).clean_air_delivery_rate_m3_per_h == pytest.approx(30 * 3.5, rel=0.03)
    assert result_of(session, dust).clean_air_delivery_rate_m3_per_h is None
    notes = {note.code for note in trial_detail(session, dust).channels[0].notes}
    assert "natural_decay_missing" in notes
    empty = add_runs(session, small_bench.room_id, steady(3, level=1.5), aerosol="dust")
    update_derived_results(session, empty, why="test")
    assert result_of(session, dust).clean_air_delivery_rate_m3_per_h == pytest.approx(30 * 3.5, rel=0.05)
    of_setting = [small_bench.high_setting_id]
    assert usable_trials(session, of_setting, "pm2_5", small_bench.room_id) == {small_bench.high_setting_id: (smoke,)}
    assert usable_trials(session, of_setting, "pm2_5", small_bench.room_id, "dust") == {
        small_bench.high_setting_id: (dust,)
    }
    runs = select(Trial.id).where(Trial.kind == EMPTY_ROOM, of_aerosol("dust"))
    assert session.scalars(runs).all() == empty
    assert result_of(session, smoke).clean_air_delivery_rate_m3_per_h == pytest.approx(30 * 3.5, rel=0.03)

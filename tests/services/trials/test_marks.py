"""Changing marks, excluding trials and the trash: what moves is shown, recorded, and can be taken back."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.adding_trials.add import add_trial
from app.services.bench.loggers import change_logger
from app.services.bench.rooms import change_room
from app.services.logs.trial_fields import TrialMarks
from app.services.store.audit import changes_of
from app.services.trials.drawing import trial_drawing
from app.services.trials.marks import change_marks, exclude_trial, preview_marks, restore_trial
from app.services.trials.trash import trash_trial, trash_unit, untrash_trial, untrash_unit
from app.services.units.entry import get_unit
from app.storage.models.bench import Change
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import NaturalDecayPool, Trial
from tests.conftest import NOW, SmallBench, decay_log
from tests.services.adding_trials.test_add import empty, result, running

LATER = TrialMarks(unit_on_s=1200, end_s=3600)


@pytest.fixture
def trial_id(session: Session, small_bench: SmallBench) -> int:
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "empty.csv", empty(small_bench))
    return add_trial(session, decay_log(6.0), "run.csv", running(small_bench))


def _summary(session: Session) -> SettingSummary:
    return session.scalars(select(SettingSummary).where(SettingSummary.channel == "pm2_5")).one()


def test_a_preview_stores_nothing(session: Session, trial_id: int):
    before = result(session, trial_id).total_decay_per_h, result(session, trial_id).unit_on_s
    changes = len(session.scalars(select(Change.id)).all())
    pools = session.scalars(select(NaturalDecayPool.id)).all()
    preview_marks(session, trial_id, LATER)
    assert (result(session, trial_id).total_decay_per_h, result(session, trial_id).unit_on_s) == before
    assert len(session.scalars(select(Change.id)).all()) == changes
    assert session.scalars(select(NaturalDecayPool.id)).all() == pools
    assert session.get_one(Trial, trial_id).unit_on_s is None


def test_a_preview_shows_what_applying_gives(session: Session, trial_id: int):
    shown = {(m.channel, m.field): m for m in preview_marks(session, trial_id, LATER).moves}
    change_marks(session, trial_id, LATER, who="Ann", why="the door stood open")
    for channel in ("pm1", "pm2_5", "pm10"):
        applied = result(session, trial_id, channel)
        for field in ("total_decay_per_h", "clean_air_delivery_rate_m3_per_h", "time_to_clear_min"):
            assert shown[channel, field].after == pytest.approx(getattr(applied, field), rel=1e-9)
    assert shown["pm2_5", "time_to_clear_min"].moves


def test_marks_as_they_are_move_nothing(session: Session, trial_id: int):
    assert [move for move in preview_marks(session, trial_id, TrialMarks()).moves if move.moves] == []


def test_applied_marks_are_recorded_with_old_value_and_reason(session: Session, trial_id: int):
    change_marks(session, trial_id, LATER, who="Ann", why="the door stood open", now=NOW)
    recorded = {c.field: c for c in changes_of(session, "trial", trial_id)}
    mark = recorded["unit_on_s"]
    assert (mark.who, mark.action, mark.before, mark.after) == ("Ann", "changed", None, "1200")
    assert mark.why == "the door stood open"
    moved = recorded["pm2_5 time_to_clear_min"]
    assert (moved.action, moved.why) == ("recomputed", "the door stood open")
    assert float(moved.before) - float(moved.after) == pytest.approx(5.0, abs=1.0)  # unit on moved by five minutes
    assert result(session, trial_id).unit_on_found is False


def test_marks_that_do_not_change_are_not_recorded(session: Session, trial_id: int):
    before = len(changes_of(session, "trial", trial_id))
    change_marks(session, trial_id, TrialMarks(), who="Ann")
    assert len(changes_of(session, "trial", trial_id)) == before


def test_marks_outside_the_log_are_refused(session: Session, trial_id: int):
    for act in (preview_marks, change_marks):
        with pytest.raises(InvalidValue, match="The mark for run end is at 9000 s; the log runs from 0 to 4500"):
            act(session, trial_id, TrialMarks(end_s=9000))
    with pytest.raises(NotFound, match="There is no trial 99 in this bench"):
        preview_marks(session, 99, TrialMarks())


def test_a_told_background_is_used_for_mass(session: Session, trial_id: int):
    change_marks(session, trial_id, TrialMarks(background_ug_m3=3.0))
    found = result(session, trial_id)
    assert found.background_choice == "given"
    assert found.background_level == pytest.approx(3.0, abs=0.5)


def test_a_clear_level_of_its_own_counts_for_the_trial(session: Session, trial_id: int):
    change_marks(session, trial_id, TrialMarks(clear_level_kind="absolute", clear_level_value=50.0))
    assert result(session, trial_id).clear_level == 50.0


def test_an_excluded_trial_leaves_the_summary_and_stays_listed(
    session: Session, small_bench: SmallBench, trial_id: int
):
    add_trial(session, decay_log(7.0, seed=3), "second.csv", running(small_bench))
    both = _summary(session).total_decay_per_h
    exclude_trial(session, trial_id, who="Ann", why="the door was open", now=NOW)
    summary = _summary(session)
    assert (summary.trials, summary.usable_trials, summary.excluded_trials) == (2, 1, 1)
    assert summary.total_decay_per_h == pytest.approx(7.0, rel=0.03)
    trial = session.get_one(Trial, trial_id)
    assert (trial.excluded_at, trial.excluded_by, trial.excluded_why) == (NOW, "Ann", "the door was open")
    restore_trial(session, trial_id, who="Ben")
    assert _summary(session).total_decay_per_h == pytest.approx(both, rel=1e-9)
    actions = [(c.who, c.action) for c in changes_of(session, "trial", trial_id)[:2]]
    assert actions == [("Ben", "restored"), ("Ann", "excluded")]


def test_excluding_needs_a_reason_and_a_trial_that_is_in(session: Session, trial_id: int):
    with pytest.raises(InvalidValue, match=r"The reason for excluding the trial is empty. Enter at least one letter"):
        exclude_trial(session, trial_id, who="Ann", why=" ")
    with pytest.raises(InvalidValue, match=r"Trial 2 is not excluded\."):
        restore_trial(session, trial_id)
    exclude_trial(session, trial_id, who="Ann", why="smoke alarm")
    with pytest.raises(
        InvalidValue,
        match=r"Trial 2 is already excluded by Ann: smoke alarm\. Include "
        r"it again first",
    ):
        exclude_trial(session, trial_id, who="Ann", why="again")


def test_an_excluded_empty_room_run_is_taken_off_nothing(session: Session, trial_id: int):
    exclude_trial(session, 1, who="Ann", why="window open")
    found = result(session, trial_id)
    assert found.clean_air_delivery_rate_m3_per_h is None
    assert session.scalars(select(NaturalDecayPool.id)).all() == []
    change = changes_of(session, "trial", trial_id)[0]
    assert change.after is None
    assert change.why == "trial 1 was excluded: window open"


def test_a_trial_in_the_trash_counts_nowhere_until_it_is_taken_back(session: Session, trial_id: int):
    trash_trial(session, trial_id, who="Ann", why="wrong room", now=NOW)
    assert session.scalars(select(SettingSummary.id)).all() == []
    with pytest.raises(InvalidValue, match=r"Trial 2 is already in the trash\. Nothing was changed\."):
        trash_trial(session, trial_id, why="again")
    untrash_trial(session, trial_id, who="Ann")
    assert _summary(session).trials == 1
    with pytest.raises(InvalidValue, match=r"Trial 2 is not in the trash\. Nothing was changed\."):
        untrash_trial(session, trial_id)


def test_a_unit_goes_to_the_trash_and_back_with_its_trials(session: Session, small_bench: SmallBench, trial_id: int):
    trash_unit(session, small_bench.unit_id, why="sold", now=NOW)
    assert get_unit(session, small_bench.unit_id).trashed_at == NOW
    with pytest.raises(InvalidValue, match="Maker A Model 1 is already in the trash"):
        trash_unit(session, small_bench.unit_id, why="again")
    untrash_unit(session, small_bench.unit_id)
    assert session.get_one(Trial, trial_id).trashed_at is None
    with pytest.raises(InvalidValue, match="Maker A Model 1 is not in the trash"):
        untrash_unit(session, small_bench.unit_id)


def test_a_new_volume_of_the_room_moves_the_clean_air_rate_in_proportion(
    session: Session, small_bench: SmallBench, trial_id: int
):
    before = result(session, trial_id)
    rate, fitted = before.clean_air_delivery_rate_m3_per_h, before.total_decay_per_h
    change_room(
        session,
        small_bench.room_id,
        {"length_m": None, "width_m": None, "height_m": None, "room_volume_m3": 60.0},
        who="Ann",
        why="measured again",
    )
    after = result(session, trial_id)
    assert after.clean_air_delivery_rate_m3_per_h == pytest.approx(2 * rate, rel=1e-9)
    assert after.total_decay_per_h == fitted
    assert changes_of(session, "trial", trial_id)[0].why == "measured again"
    assert _summary(session).clean_air_delivery_rate_m3_per_h == pytest.approx(2 * rate, rel=1e-6)


def test_what_is_learnt_of_a_logger_changes_the_results_of_its_trials(
    session: Session, small_bench: SmallBench, trial_id: int
):
    before = result(session, trial_id).fit_window_start_min
    change_logger(session, small_bench.logger_id, {"saturation_level_ug_m3": 150.0}, who="Ann")
    after = result(session, trial_id)
    assert after.fit_window_start_min > before  # readings at saturation are left out
    assert any("Logger A was changed" in c.why for c in changes_of(session, "trial", trial_id))


def test_where_a_logger_stamps_its_means_corrects_the_times_of_its_trials_and_no_rate(
    session: Session, small_bench: SmallBench
):
    trial_id = add_trial(session, decay_log(6.0), "run.csv", running(small_bench, marks=TrialMarks(unit_on_s=900)))
    before = result(session, trial_id)
    cleared, rate, end_s = before.time_to_clear_min, before.total_decay_per_h, before.end_s
    drawn = trial_drawing(session, trial_id, "pm2_5").curve.minutes
    change_logger(session, small_bench.logger_id, {"averaging_s": 60.0, "time_stamp": "end"}, who="Ann")
    after = result(session, trial_id)
    assert (after.stamped_late_s, after.end_s) == (30.0, end_s - 30)
    assert cleared - after.time_to_clear_min == pytest.approx(0.5, abs=1e-6)
    assert after.total_decay_per_h == pytest.approx(rate, rel=0.02)  # the window begins with another reading
    moved = trial_drawing(session, trial_id, "pm2_5").curve.minutes
    assert [early - late for early, late in zip(drawn, moved, strict=True)] == pytest.approx(
        [0.5] * len(drawn), abs=1e-3
    )
    assert any("Logger A was changed" in c.why for c in changes_of(session, "trial", trial_id))

"""A trial from the bytes of its log to its line of the ranking."""

import hashlib
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.errors import AlreadyStored, InvalidValue, NotFound, UnreadableLog
from app.reading_files.log_table import ReadingChoices
from app.services.adding_trials.add import add_trial
from app.services.logs.readings import read_readings
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.store.audit import changes_of
from app.services.trials.trash import trash_trial, trash_unit
from app.storage.models.bench import Change
from app.storage.models.logs import Log, RawFile
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, NaturalDecayPool, NaturalDecayPoolRun, Trial
from tests.conftest import NOW, SmallBench, decay_log


def running(bench: SmallBench, **told) -> NewTrial:
    return NewTrial(
        kind=UNIT_RUNNING,
        room_id=bench.room_id,
        unit_under_test_id=bench.unit_id,
        setting_id=bench.high_setting_id,
        logger_id=bench.logger_id,
        smoke_source_id=bench.smoke_source_id,
        tested_by="Ann",
        **told,
    )


def empty(bench: SmallBench, **told) -> NewTrial:
    return NewTrial(kind=EMPTY_ROOM, room_id=bench.room_id, logger_id=bench.logger_id, **told)


def result(session: Session, trial_id: int, channel: str = "pm2_5") -> ChannelResult:
    return session.scalars(
        select(ChannelResult)
        .where(ChannelResult.trial_id == trial_id, ChannelResult.channel == channel)
        .options(selectinload(ChannelResult.notes))
    ).one()


def test_a_trial_keeps_its_file_byte_for_byte(session: Session, small_bench: SmallBench):
    content = decay_log(6.0)
    trial = session.get_one(Trial, add_trial(session, content, "run.csv", running(small_bench), now=NOW))
    log = session.get_one(Log, trial.log_id)
    raw = session.get_one(RawFile, log.sha256)
    assert raw.content == content
    assert raw.sha256 == hashlib.sha256(content).hexdigest()
    assert (log.file_name, log.readings, trial.started_at) == ("run.csv", 451, NOW)


def test_the_rate_that_the_log_was_made_with_is_found_in_every_channel(session: Session, small_bench: SmallBench):
    trial_id = add_trial(session, decay_log(6.0), "run.csv", running(small_bench))
    for channel in ("pm1", "pm2_5", "pm10"):
        found = result(session, trial_id, channel)
        assert found.total_decay_per_h == pytest.approx(6.0, rel=0.03)
        assert found.usable
        assert found.unit_on_s == pytest.approx(15 * 60, abs=60)
        assert found.clear_level == 10.0


def test_readings_come_back_as_they_stood_in_the_file(session: Session, small_bench: SmallBench):
    content = decay_log(6.0)
    trial = session.get_one(Trial, add_trial(session, content, "run.csv", running(small_bench)))
    readings = read_readings(session, trial.log_id)
    table = np.array([[float(cell) for cell in line.split(",")[1:]] for line in content.decode().splitlines()[1:]])
    assert list(readings.levels) == ["pm1", "pm2_5", "pm10"]
    assert np.array_equal(readings.levels["pm2_5"], table[:, 1])
    assert np.array_equal(readings.elapsed_s, np.arange(451) * 10.0)


def test_without_an_empty_room_run_no_clean_air_rate_is_given(session: Session, small_bench: SmallBench):
    found = result(session, add_trial(session, decay_log(6.0), "run.csv", running(small_bench)))
    assert found.clean_air_delivery_rate_m3_per_h is None
    assert found.standard_clearing_time_min == pytest.approx(60 * np.log(20) / 6.0, rel=0.03)
    assert "natural_decay_missing" in [note.code for note in found.notes]


def test_clean_air_is_volume_times_total_less_natural_decay(session: Session, small_bench: SmallBench):
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "empty.csv", empty(small_bench))
    found = result(session, add_trial(session, decay_log(6.0), "run.csv", running(small_bench)))
    natural = result(session, 1).total_decay_per_h
    wanted = 30.0 * (found.total_decay_per_h - natural)
    assert found.clean_air_delivery_rate_m3_per_h == pytest.approx(wanted, rel=1e-9)
    assert found.clean_air_delivery_rate_m3_per_h == pytest.approx(165.0, rel=0.03)
    assert found.clean_air_delivery_rate_low_95 < 165.0 < found.clean_air_delivery_rate_high_95
    pool = session.get_one(NaturalDecayPool, found.pool_id)
    runs = session.scalars(select(NaturalDecayPoolRun).where(NaturalDecayPoolRun.pool_id == pool.id)).all()
    assert [(run.trial_id, run.weight) for run in runs] == [(1, pytest.approx(1.0))]


def test_an_empty_room_run_moves_the_trials_of_its_room_and_each_move_is_recorded(
    session: Session, small_bench: SmallBench
):
    trial_id = add_trial(session, decay_log(6.0), "run.csv", running(small_bench))
    fitted = result(session, trial_id).total_decay_per_h
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "e1.csv", empty(small_bench, tested_by="Ben"))
    first = result(session, trial_id).clean_air_delivery_rate_m3_per_h
    add_trial(session, decay_log(0.7, minutes=180, seed=6), "e2.csv", empty(small_bench, tested_by="Ben"))
    moved = result(session, trial_id)
    assert moved.total_decay_per_h == fitted  # nothing was fitted again
    assert moved.clean_air_delivery_rate_m3_per_h < first
    recorded = [c for c in changes_of(session, "trial", trial_id) if c.field.startswith("pm2_5")]
    assert [(c.who, c.action, c.field, c.why) for c in recorded] == [
        ("Ben", "recomputed", "pm2_5 clean_air_delivery_rate_m3_per_h", "an empty-room run was added (trial 3)"),
        ("Ben", "recomputed", "pm2_5 clean_air_delivery_rate_m3_per_h", "an empty-room run was added (trial 2)"),
    ]
    assert recorded[1].before is None
    assert recorded[0].before == recorded[1].after


def test_trials_on_the_same_runs_share_one_pool(session: Session, small_bench: SmallBench):
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "empty.csv", empty(small_bench))
    ids = [
        add_trial(session, decay_log(rate, seed=number), f"{number}.csv", running(small_bench))
        for number, rate in enumerate((4.0, 6.0), start=7)
    ]
    assert result(session, ids[0]).pool_id == result(session, ids[1]).pool_id


def test_an_empty_room_run_too_far_in_time_is_used_with_a_note(session: Session, small_bench: SmallBench):
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "empty.csv", empty(small_bench))
    late = decay_log(6.0, started_at=NOW + timedelta(days=300))
    found = result(session, add_trial(session, late, "run.csv", running(small_bench)))
    assert "natural_decay_stale" in [note.code for note in found.notes]


def test_runs_of_another_room_are_not_used(session: Session, small_bench: SmallBench):
    from app.services.bench.definitions import NewRoom
    from app.services.bench.rooms import add_room

    other = add_room(session, NewRoom(name="Room B", room_volume_m3=50))
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "e.csv", NewTrial(kind=EMPTY_ROOM, room_id=other))
    found = result(session, add_trial(session, decay_log(6.0), "run.csv", running(small_bench)))
    assert found.clean_air_delivery_rate_m3_per_h is None


def test_a_unit_that_does_nothing_has_no_measurable_cleaning(session: Session, small_bench: SmallBench):
    for seed in (5, 6, 7):
        add_trial(session, decay_log(0.5, minutes=180, seed=seed), f"e{seed}.csv", empty(small_bench))
    trial_id = add_trial(session, decay_log(0.5, minutes=180, seed=9), "run.csv", running(small_bench))
    assert "no_measurable_cleaning" in [note.code for note in result(session, trial_id).notes]
    summary = session.scalars(select(SettingSummary).where(SettingSummary.channel == "pm2_5")).one()
    assert summary.measurable is False
    assert summary.at_most_m3_per_h > 0


def test_repeats_are_combined_in_the_summary(session: Session, small_bench: SmallBench):
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "empty.csv", empty(small_bench))
    rates = (5.8, 6.0, 6.2)
    for day, rate in enumerate(rates):
        log = decay_log(rate, seed=day, started_at=NOW + timedelta(days=day))
        add_trial(session, log, f"{day}.csv", running(small_bench))
    summary = session.scalars(select(SettingSummary).where(SettingSummary.channel == "pm2_5")).one()
    assert (summary.trials, summary.usable_trials, summary.excluded_trials) == (3, 3, 0)
    assert summary.total_decay_per_h == pytest.approx(6.0, rel=0.02)
    assert summary.latest_trial_on == (NOW + timedelta(days=2)).date()
    assert summary.aerosol == "smoke"
    assert summary.measurable is True
    assert summary.at_most_m3_per_h is None
    low, high = summary.clean_air_delivery_rate_low_95, summary.clean_air_delivery_rate_high_95
    assert low < 30 * (6.0 - 0.5) < high


def test_a_run_that_never_cleared_is_a_lower_bound(session: Session, small_bench: SmallBench):
    trial_id = add_trial(session, decay_log(0.5, minutes=120), "run.csv", running(small_bench))
    found = result(session, trial_id)
    assert found.cleared is False
    assert found.time_to_clear_min is None
    assert found.not_cleared_before_min == pytest.approx(120, abs=1.5)
    summary = session.scalars(select(SettingSummary).where(SettingSummary.channel == "pm2_5")).one()
    assert summary.censored_trials == 1
    assert summary.time_to_clear_min is None
    assert summary.not_cleared_before_min == found.not_cleared_before_min


def test_the_same_file_for_the_same_trial_twice_is_refused(session: Session, small_bench: SmallBench):
    add_trial(session, decay_log(6.0), "run.csv", running(small_bench))
    with pytest.raises(AlreadyStored) as refused:
        add_trial(session, decay_log(6.0), "again.csv", running(small_bench))
    assert refused.value.status == 409
    assert refused.value.message == (
        "again.csv with the same unit, setting, room and marks is trial 1, which already exists. "
        "Open that trial, or set different marks if this is another run in the same file."
    )
    trash_trial(session, 1, why="a mistake")
    with pytest.raises(AlreadyStored, match="is trial 1, which is in the trash; restore it from there"):
        add_trial(session, decay_log(6.0), "again.csv", running(small_bench))


def test_another_run_in_the_same_file_shares_its_readings(session: Session, small_bench: SmallBench):
    first = add_trial(session, decay_log(6.0), "run.csv", running(small_bench))
    second = add_trial(session, decay_log(6.0), "run.csv", running(small_bench, marks=TrialMarks(unit_on_s=960)))
    assert session.get_one(Trial, first).log_id == session.get_one(Trial, second).log_id
    assert len(session.scalars(select(RawFile.sha256)).all()) == 1


@pytest.mark.parametrize(
    ("marks", "field", "message"),
    [
        (
            TrialMarks(unit_on_s=9999),
            "unit_on_s",
            "The mark for unit on is at 9999 s; the log runs from 0 to 4500 s. Move the mark within the log.",
        ),
        (
            TrialMarks(unit_on_s=900, end_s=600),
            "end_s",
            "The mark for run end is at 600 s, before unit on at 900 s. Marks must be in "
            "the order of the run; move one of the two.",
        ),
        (
            TrialMarks(fit_start_s=900, fit_end_s=900),
            "fit_end_s",
            "The fit window starts and ends at 900 s. Move one of the two marks.",
        ),
        (
            TrialMarks(background_ug_m3=-2),
            "background_ug_m3",
            "The background is -2 µg/m³; it must be zero or above. Correct it, or leave it empty to detect it "
            "from the data.",
        ),
        (
            TrialMarks(clear_level_kind="absolute"),
            "clear_level_value",
            "The clear level needs both a type and a value, but one is empty. Enter both, or leave "
            "both empty to use the bench default.",
        ),
        (
            TrialMarks(clear_level_kind="share_of_start", clear_level_value=5),
            "clear_level_value",
            "The clear level is 5 of the start level; enter a fraction above 0 and below 1, such as 0.05.",
        ),
        (
            TrialMarks(clear_level_kind="absolute", clear_level_value=0),
            "clear_level_value",
            "The clear level is 0; it must be a number above zero. Correct it.",
        ),
        (
            TrialMarks(clear_level_kind="clean", clear_level_value=1),
            "clear_level_kind",
            "The clear level type is 'clean'; choose one of: absolute, share_of_start, background.",
        ),
    ],
)
def test_marks_that_cannot_be_are_refused_and_nothing_is_stored(
    session: Session, small_bench: SmallBench, marks: TrialMarks, field: str, message: str
):
    with pytest.raises(InvalidValue) as refused:
        add_trial(session, decay_log(6.0), "run.csv", running(small_bench, marks=marks))
    assert (refused.value.field, refused.value.message) == (field, message)
    assert session.scalars(select(Trial.id)).all() == []
    assert session.scalars(select(RawFile.sha256)).all() == []


def test_what_does_not_fit_the_bench_is_refused(session: Session, small_bench: SmallBench):
    def refusal(error: type, **told) -> str:
        asked = {"kind": UNIT_RUNNING, "room_id": small_bench.room_id} | told
        with pytest.raises(error) as refused:
            add_trial(session, decay_log(6.0), "run.csv", NewTrial(**asked))
        return refused.value.message

    assert refusal(InvalidValue, kind="demo").startswith("The trial type is 'demo'; choose one of: unit running")
    assert refusal(NotFound, room_id=9).startswith("There is no room 9 in this bench.")
    assert refusal(NotFound, logger_id=9).startswith("There is no logger 9 in this bench.")
    assert refusal(InvalidValue) == ("A run with the unit running needs a unit. Choose one.")
    assert refusal(NotFound, unit_under_test_id=9).startswith("There is no unit under test 9")
    assert refusal(InvalidValue, unit_under_test_id=small_bench.unit_id) == (
        "A run with the unit running needs a setting. Choose one."
    )
    assert refusal(InvalidValue, unit_under_test_id=small_bench.unit_id, setting_id=99) == (
        "Maker A Model 1 has no setting 99. Choose one of its settings."
    )
    assert refusal(InvalidValue, kind=EMPTY_ROOM, unit_under_test_id=small_bench.unit_id) == (
        "An empty-room run has no unit or setting. Leave them empty, or choose the type “unit running”."
    )
    assert refusal(InvalidValue, kind=EMPTY_ROOM, started_at=datetime(2026, 1, 1)) == (  # noqa: DTZ001
        "The start 2026-01-01T00:00:00 has no time zone; enter a time such as 2026-01-05T10:00Z."
    )
    trash_unit(session, small_bench.unit_id, why="sold")
    assert refusal(InvalidValue, unit_under_test_id=small_bench.unit_id, setting_id=small_bench.low_setting_id) == (
        "Maker A Model 1 is in the trash. Restore it first, or choose another unit."
    )


def test_a_file_that_is_no_log_is_refused(session: Session, small_bench: SmallBench):
    with pytest.raises(UnreadableLog):
        add_trial(session, b"Dear reader,\nthis is a letter.\n", "letter.txt", running(small_bench))
    assert session.scalars(select(Change).where(Change.subject == "trial")).all() == []


def test_a_log_of_an_impossible_year_takes_the_time_that_was_told(session: Session, small_bench: SmallBench):
    told = datetime(2026, 2, 1, 8, tzinfo=UTC)
    content = decay_log(6.0, started_at=datetime(2945, 1, 1, tzinfo=UTC))
    trial_id = add_trial(session, content, "run.csv", running(small_bench, started_at=told), ReadingChoices())
    assert session.get_one(Trial, trial_id).started_at == told


def test_humidity_of_the_run_is_kept_beside_the_result(session: Session, small_bench: SmallBench):
    content = decay_log(
        6.0, channels=("PM2.5 [µg/m³]", "Relative humidity [%]"), shares=(1.0, 0.0), background=4.0
    ).replace(b",0.00\n", b",47.5\n")
    found = result(session, add_trial(session, content, "run.csv", running(small_bench)))
    assert found.relative_humidity_pct == pytest.approx(47.5)

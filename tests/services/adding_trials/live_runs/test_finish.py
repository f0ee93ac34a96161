"""A finished live run is the trial that an upload of the whole file gives."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, RunEnded
from app.reading_files.log_table import ReadingChoices
from app.reading_files.read_log import read_log
from app.services.adding_trials.add import add_trial
from app.services.adding_trials.live_runs.events import SMOKE_LIT, UNIT_OFF, UNIT_ON, add_event
from app.services.adding_trials.live_runs.finish import RunFile, finish_run
from app.services.adding_trials.live_runs.receive import Reading, receive_readings
from app.services.adding_trials.live_runs.run import CLOSED_AFTER, get_run, open_run, start_run
from app.services.logs.readings import read_readings
from app.services.logs.store import raw_log_of_trial
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.storage.models.logs import Log
from app.storage.models.trials import ChannelResult, ResultNote, Trial
from tests.conftest import NOW, SmallBench, decay_log


def readings_of(log: bytes, every: int = 1) -> list[Reading]:
    table = read_log(log, "log.csv")
    return [
        Reading(
            table.started_at + timedelta(seconds=float(second)),
            {name: float(levels[place]) for name, levels in table.levels.items()},
        )
        for place, second in enumerate(table.elapsed_s)
    ][::every]


def conditions(bench: SmallBench, **more: Any) -> NewTrial:
    own = {"unit_under_test_id": bench.unit_id, "setting_id": bench.high_setting_id, "tested_by": "Ada"}
    given = {"kind": "unit running", "room_id": bench.room_id, "logger_id": bench.logger_id} | own
    return NewTrial(**given | {"smoke_source_id": bench.smoke_source_id} | more)


def everything_of(session: Session, trial_id: int) -> dict[str, Any]:
    """Every stored cell of a trial that does not name the trial itself or the moment of storing."""
    apart = {"id", "trial_id", "log_id", "created_at", "computed_at", "stored_at", "first_reading", "result_id"}

    def cells(row: Any) -> dict[str, Any]:
        return {c.name: getattr(row, c.name) for c in row.__table__.columns if c.name not in apart}

    trial = session.get_one(Trial, trial_id)
    log = session.get_one(Log, trial.log_id)
    results = session.scalars(
        select(ChannelResult).where(ChannelResult.trial_id == trial_id).order_by(ChannelResult.channel)
    ).all()
    notes = [
        cells(note)
        for result in results
        for note in session.scalars(
            select(ResultNote).where(ResultNote.result_id == result.id).order_by(ResultNote.position)
        )
    ]
    stored = read_readings(session, trial.log_id)
    return {
        "trial": cells(trial) | {"started_at": trial.started_at},
        "log": cells(log),
        "results": [cells(result) for result in results],
        "notes": notes,
        "times": stored.elapsed_s.tolist(),
        "levels": {name: [repr(level) for level in levels.tolist()] for name, levels in stored.levels.items()},
        "units": stored.units,
    }


def run_with(session: Session, bench: SmallBench, lots: list[list[Reading]], now: datetime = NOW) -> int:
    run_id = start_run(session, conditions(bench), now=now).run_id
    for lot in lots:
        at = max(now, max(reading.time for reading in lot))
        receive_readings(session, run_id, lot, now=at)
    return run_id


def test_the_stored_trial_is_that_of_an_upload_of_its_file(session: Session, small_bench: SmallBench):
    """Every cell of trial, log, results and notes, and every reading, compared with an upload of the same bytes."""
    lot = readings_of(decay_log(6.0, minutes=60))
    run_id = run_with(session, small_bench, [lot[:100], lot[100:]])
    end = lot[-1].time
    for kind, minute in ((SMOKE_LIT, 10.0), (UNIT_ON, 15.0), (UNIT_OFF, 70.0)):
        add_event(session, run_id, kind, at=NOW + timedelta(minutes=minute), now=end)
    finished = finish_run(session, run_id, now=end)
    assert finished.new
    marks = TrialMarks(smoke_start_s=600.0, unit_on_s=900.0, end_s=4200.0)
    raw = raw_log_of_trial(session, finished.trial_id)
    live = everything_of(session, finished.trial_id)
    by_hand = add_trial(
        session, raw.content, raw.file_name, replace(conditions(small_bench), marks=TrialMarks()), now=end
    )
    assert everything_of(session, by_hand)["trial"] != live["trial"]  # without the marks it is another trial
    uploaded = everything_of(session, add_trial(session, raw.content + b"\n", raw.file_name, replace(
        conditions(small_bench), marks=marks), now=end))  # fmt: skip
    for parts in (live, uploaded):
        parts["log"].pop("sha256")  # one more line end, because the same bytes with the same marks are refused
    assert uploaded == live
    assert len(live["times"]) == len(lot)
    assert live["results"]
    assert not finish_run(session, run_id, now=end).new


def test_a_followed_file_is_stored_byte_for_byte(session: Session, small_bench: SmallBench):
    log = decay_log(6.0, minutes=60).replace(b"\n", b"\r\n")
    run_id = run_with(session, small_bench, [readings_of(log)[:50]])
    file = RunFile(log, read_log(log, "room.csv"), ReadingChoices())
    trial_id = finish_run(session, run_id, file=file, now=NOW).trial_id
    raw = raw_log_of_trial(session, trial_id)
    assert (raw.content, raw.file_name) == (log, "room.csv")
    assert get_run(session, run_id).trial_id == trial_id


def test_lots_in_any_order_give_the_same_bytes(store: Engine, session: Session, small_bench: SmallBench):
    lot = readings_of(decay_log(6.0, minutes=30))
    run_id = run_with(session, small_bench, [lot[150:], lot[:100], lot[60:200], lot])
    first = raw_log_of_trial(session, finish_run(session, run_id, now=NOW).trial_id).content
    other = run_with(session, small_bench, [lot], NOW + timedelta(days=1))
    changed = {"setting_id": small_bench.low_setting_id}
    assert raw_log_of_trial(session, finish_run(session, other, changed=changed, now=NOW).trial_id).content == first


def test_the_log_has_every_digit_of_a_reading_and_its_time(session: Session, small_bench: SmallBench):
    times = [NOW + timedelta(microseconds=250_001 * number) for number in range(40)]
    lot = [Reading(time, {"pm2_5": 0.1 + number / 3}) for number, time in enumerate(times)]
    run_id = run_with(session, small_bench, [lot])
    trial = session.get_one(Trial, finish_run(session, run_id, now=NOW).trial_id)
    lines = raw_log_of_trial(session, trial.id).content.decode().splitlines()
    assert [float(line.split(",")[1]) for line in lines[1:]] == [0.1 + number / 3 for number in range(40)]
    stored = read_readings(session, trial.log_id)  # the reader of files rounds the last binary digit
    assert stored.levels["pm2_5"] == pytest.approx([0.1 + number / 3 for number in range(40)], rel=5e-16)
    assert stored.elapsed_s[1] == pytest.approx(0.250001, abs=1e-9)


def test_a_unit_chosen_at_the_end_is_the_trials(session: Session, small_bench: SmallBench):
    lot = readings_of(decay_log(6.0, minutes=30))
    new = conditions(small_bench, unit_under_test_id=None, setting_id=None)
    run_id = start_run(session, new, now=NOW).run_id
    receive_readings(session, run_id, lot, now=NOW)
    with pytest.raises(InvalidValue, match=r"^A run with the unit running needs a unit\. Choose one\.$"):
        finish_run(session, run_id, now=NOW)
    assert get_run(session, run_id).trial_id is None
    changed = {"unit_under_test_id": small_bench.unit_id, "setting_id": small_bench.low_setting_id}
    trial = session.get_one(Trial, finish_run(session, run_id, changed=changed, now=NOW).trial_id)
    assert trial.setting_id == small_bench.low_setting_id


def test_a_run_without_readings_is_no_trial(session: Session, small_bench: SmallBench):
    run_id = start_run(session, conditions(small_bench), now=NOW).run_id
    with pytest.raises(InvalidValue, match=rf"^Live run {run_id} has no readings, so it cannot become a trial\. Send"):
        finish_run(session, run_id, now=NOW)


def test_a_run_never_ended_is_closed_and_stays_as_it_is(session: Session, small_bench: SmallBench):
    lot = readings_of(decay_log(6.0, minutes=30))
    run_id = run_with(session, small_bench, [lot])
    heard = get_run(session, run_id).last_heard_at
    late = heard + CLOSED_AFTER
    assert open_run(session, run_id, late - timedelta(seconds=1)).id == run_id
    words = rf"^Live run {run_id} was closed at {late:%Y-%m-%d %H:%M} UTC, after 2 h without a reading\. Its readings"
    with pytest.raises(RunEnded, match=words):
        receive_readings(session, run_id, lot, now=late)
    assert start_run(session, conditions(small_bench), now=late).new  # its room is free again
    trial = session.get_one(Trial, finish_run(session, run_id, now=late + timedelta(days=30)).trial_id)
    assert len(read_readings(session, trial.log_id).elapsed_s) == len(lot)
    with pytest.raises(RunEnded, match=rf"^Live run {run_id} was finished as trial {trial.id}\. Start a new run\.$"):
        receive_readings(session, run_id, lot, now=late)


def test_a_room_has_one_open_run(session: Session, small_bench: SmallBench):
    run_id = start_run(session, conditions(small_bench), key="k", now=NOW).run_id
    assert start_run(session, conditions(small_bench), key="k", now=NOW).run_id == run_id
    words = rf"^Room A already has live run {run_id}, started at 2026-03-02 09:00 UTC\. Finish that run first, or"
    with pytest.raises(AlreadyStored, match=words):
        start_run(session, conditions(small_bench), key="other", now=NOW)


def test_a_run_of_the_page_is_joined_and_gets_what_it_does_not_know(session: Session, small_bench: SmallBench):
    """A file joins it as long as it has no readings, posted readings at any time; another kind of run never."""
    from_page = conditions(small_bench, unit_under_test_id=None, setting_id=None, logger_id=None, tested_by="Bea")
    run_id = start_run(session, from_page, now=NOW).run_id
    joined = start_run(session, conditions(small_bench), source="file", key="watch", join=True, now=NOW)
    assert (joined.run_id, joined.new) == (run_id, False)
    run = get_run(session, run_id)
    assert (run.source, run.unit_under_test_id, run.tested_by) == ("file", small_bench.unit_id, "Bea")
    assert start_run(session, conditions(small_bench), source="file", key="watch", now=NOW).run_id == run_id
    with pytest.raises(AlreadyStored, match="already has live run"):
        start_run(session, conditions(small_bench), join=True, now=NOW)  # its file is followed by another command
    later = NOW + timedelta(days=1)
    posted = start_run(session, conditions(small_bench), now=later).run_id
    receive_readings(session, posted, [Reading(later, {"pm2_5": 1.0})], now=later)
    assert start_run(session, conditions(small_bench), join=True, now=later).run_id == posted
    with pytest.raises(AlreadyStored, match="already has live run"):
        start_run(session, conditions(small_bench), source="file", join=True, now=later)
    empty = conditions(small_bench, kind="empty room", unit_under_test_id=None, setting_id=None)
    with pytest.raises(AlreadyStored, match="already has live run"):
        start_run(session, empty, join=True, now=later)

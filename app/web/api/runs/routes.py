"""Live runs: start, readings, events, state and end."""

import hashlib
from dataclasses import replace
from typing import Annotated

from fastapi import Form, Response
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.adding_trials.staged_uploads import plain_file_name
from app.services.bench.choices import bench_choices
from app.web.api.runs.bodies import ReadingLot, RunEvent, RunFinish, RunStart, changed_conditions, run_conditions
from app.web.api.runs.shapes import ConflictShape, ReceiptShape, RunShape, run_shape
from app.web.api.shapes import Id, Key, of_bench, problem_answers
from app.web.api.trials.form import given_marks, reading_choices
from app.web.api.trials.shapes import TrialInFull, trial_shape
from app.web.dependencies import ReadSessionDep, SessionDep
from app.web.routers import api_router

router = api_router("live runs")


@router.post("/runs", status_code=201, responses=problem_answers(400, 404, 409))
def run_started(session: SessionDep, asked: RunStart, response: Response, key: Key = "") -> RunShape:
    """Starts a live run in a room, which may have one open run. With a repeated key, or `join`, the answer is 200 and
    the run that was there.
    """
    from app.services.adding_trials.live_runs.run import start_run

    conditions = run_conditions(session, asked)
    started = start_run(session, conditions, source=asked.source, key=key, join=asked.join)
    if not started.new:
        response.status_code = 200
    return _state(session, started.run_id)


@router.get("/runs/{run_id}", responses=problem_answers(404))
def run_state(run_id: Id, session: SessionDep) -> RunShape:
    """Level, phase, fitted rate, projected time to clear and advice."""
    return _state(session, run_id)


@router.post("/runs/{run_id}/readings", responses=problem_answers(400, 404, 409, 413))
def run_readings(run_id: Id, session: SessionDep, lot: ReadingLot, key: Key = "") -> ReceiptShape:
    """Stores readings, in any order. An answer means that they are stored. Where a value is stored for the same time
    and channel, it remains, and a different one is named in the answer.
    """
    from app.services.adding_trials.live_runs.receive import Reading, receive_readings
    from app.services.adding_trials.live_runs.run import get_run

    sent = [Reading(each.time, each.model_extra or {}) for each in lot.readings]
    digest = hashlib.sha256(lot.model_dump_json().encode()).hexdigest()
    receipt = receive_readings(session, run_id, sent, key=key, sha256=digest)
    return ReceiptShape(
        run_id=run_id,
        added=receipt.added,
        repeated=receipt.repeated,
        conflicts=receipt.conflicts,
        conflicting=[ConflictShape.model_validate(each) for each in receipt.named],
        file_requested=get_run(session, run_id).file_requested_at is not None,
    )


@router.post("/runs/{run_id}/events", responses=problem_answers(400, 404, 409))
def run_event(run_id: Id, session: SessionDep, asked: RunEvent, key: Key = "") -> RunShape:
    """Records a phase event, or undoes one. The difference between `sent_at` and the bench's clock corrects `at`."""
    from app.services.adding_trials.live_runs.events import add_event, undo_event

    if (asked.kind is None) == (asked.undo is None):
        raise InvalidValue("Send either `kind`, to record an event, or `undo` with the id of one.", field="kind")
    if asked.undo is not None:
        undo_event(session, run_id, asked.undo)
    elif asked.kind is not None:
        add_event(session, run_id, asked.kind, at=asked.at, sent_at=asked.sent_at, key=key)
    return _state(session, run_id)


@router.post("/runs/{run_id}/finish", status_code=201, responses=problem_answers(400, 404, 409, 413))
def run_finished(
    run_id: Id,
    session: SessionDep,
    reading: ReadSessionDep,
    asked: Annotated[RunFinish, Form(media_type="multipart/form-data")],
    response: Response,
) -> TrialInFull:
    """Makes the run a trial, as an upload of its whole file would. Without `log` the file is written from the readings
    received. A finished run answers 200 with its trial.
    """
    from app.reading_files.read_log import read_log  # loaded when used: it needs pandas
    from app.reading_files.text.decoding import refuse_large_file
    from app.services.adding_trials.live_runs.finish import RunFile, finish_run
    from app.services.adding_trials.live_runs.run import get_run
    from app.services.logs.logger_profiles import load_profile
    from app.services.trials.detail import trial_detail

    run = get_run(reading, run_id)
    file = None
    if asked.log is not None:
        profile_id = asked.profile_id or run.profile_id
        kept = load_profile(reading, profile_id) if profile_id is not None else None
        choices = replace(reading_choices(asked, kept), assumed_timezone=bench_choices(reading).timezone)
        name = plain_file_name(asked.log.filename or "log")
        refuse_large_file(asked.log.size or 0, name)
        content = asked.log.file.read()
        file = RunFile(content, read_log(content, name, choices), choices)
    changed = changed_conditions(session, asked, run.unit_under_test_id)
    finished = finish_run(
        session, run_id, file=file, changed=changed, marks=given_marks(asked.model_dump(exclude={"log"}))
    )
    if not finished.new:
        response.status_code = 200
    detail = trial_detail(session, finished.trial_id)
    return TrialInFull(**dict(trial_shape(detail)), **of_bench(session))


def _state(session: Session, run_id: int) -> RunShape:
    from app.services.adding_trials.live_runs.state import live_state  # loaded when used: it needs scipy

    return run_shape(live_state(session, run_id), of_bench(session))

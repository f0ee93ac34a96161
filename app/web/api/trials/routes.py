"""Trials: adding one from a log, results, marks, readings and raw file."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import Form, Query
from sqlalchemy.orm import Session
from starlette.responses import Response

from app.services.adding_trials.staged_uploads import plain_file_name
from app.services.bench.choices import bench_choices
from app.services.logs.readings import MOST_POINTS, thin_readings
from app.services.logs.store import log_id_of_trial, raw_log_of_trial
from app.services.store.checked_values import idempotency_key
from app.services.trials.list import TrialFilter
from app.web.api.shapes import Cursor, Id, Key, OfBench, of_bench, problem_answers
from app.web.api.trials.change import TrialChange, apply_change
from app.web.api.trials.form import TrialForm, new_trial, reading_choices
from app.web.api.trials.shapes import Kind, TrialInFull, TrialList, trial_shape
from app.web.dependencies import ReadSessionDep, SessionDep
from app.web.downloads.attached_file import original_file
from app.web.routers import api_router

router = api_router("trials")

_IdQuery = Annotated[int | None, Query(ge=1, le=2_147_483_647)]


class ReadingsShape(OfBench):
    """Readings of one channel, thinned without losing peaks and troughs. Times are seconds after the first reading."""

    channel: str
    unit: str
    readings: int
    elapsed_s: list[float]
    levels: list[float]


@router.get("/trials", responses=problem_answers())
def trials(
    session: SessionDep,
    limit: Annotated[int, Query(ge=1, le=100)] = 20,
    cursor: Cursor = None,
    unit_under_test_id: _IdQuery = None,
    setting_id: _IdQuery = None,
    room_id: _IdQuery = None,
    kind: Kind | None = None,
    state: Annotated[str, Query(description="kept, excluded or trashed; all but the trash if omitted")] = "",
) -> TrialList:
    """Trials with their results, newest first."""
    from app.services.trials.detail import list_details  # loaded when used: it needs scipy

    wanted = TrialFilter(
        unit_under_test_id=unit_under_test_id,
        setting_id=setting_id,
        room_id=room_id,
        kind=kind or "",
        state=state,
    )
    part = list_details(session, wanted, limit, cursor)
    return TrialList(
        trials=[trial_shape(detail) for detail in part.rows], next_cursor=part.next_cursor, **of_bench(session)
    )


@router.post("/trials", status_code=201, responses=problem_answers(400, 404, 409, 413))
def trial_added(
    session: SessionDep,
    reading: ReadSessionDep,
    form: Annotated[TrialForm, Form(media_type="multipart/form-data")],
    key: Key = "",
) -> TrialInFull:
    """Adds a trial from its log and analyses it. A file that is not a log is rejected with line and text found; the
    same file for the same trial answers 409. With an `Idempotency-Key` the request can be repeated for 30 days: it
    answers 201 with the trial of the first, as it is now. A key that came with other contents answers 422.
    """
    from app.reading_files.read_log import read_log  # loaded when used: it needs pandas
    from app.reading_files.text.decoding import refuse_large_file
    from app.services.adding_trials.add import add_read_trial, start_of
    from app.services.adding_trials.upload_keys import digest_of_upload, keep_key, trial_of_key
    from app.services.adding_trials.worked_log import WorkedLog, worked_ahead
    from app.services.logs.logger_profiles import load_profile
    from app.services.trials.detail import trial_detail

    kept = load_profile(reading, form.profile_id) if form.profile_id is not None else None
    # local times without a zone are in the bench's zone
    choices = replace(reading_choices(form, kept), assumed_timezone=bench_choices(reading).timezone)
    name = plain_file_name(form.log.filename or "log")
    refuse_large_file(form.log.size or 0, name)  # before it is read into memory
    content = form.log.file.read()
    upload_key = idempotency_key(key)
    sha256 = digest_of_upload(content, form.model_dump(exclude={"log"}) | {"file name": name})
    trial_id = trial_of_key(reading, upload_key, sha256)
    if trial_id is None:
        # before the first statement of the writing session
        table, new, now = read_log(content, name, choices), new_trial(reading, form), datetime.now(UTC)
        log = WorkedLog(content, table, choices)
        log = worked_ahead(reading, log, new.kind, new.logger_id, new.marks, start_of(table, new.started_at, now))
        trial_id = trial_of_key(session, upload_key, sha256)  # a repeat at the same moment may have been first
        if trial_id is None:
            trial_id = add_read_trial(session, content, table, new, choices, now, analyse=log.analyse)
            keep_key(session, upload_key, sha256, trial_id)
    return _in_full(session, trial_detail(session, trial_id))


@router.get("/trials/{trial_id}", responses=problem_answers(404))
def trial(trial_id: Id, session: SessionDep) -> TrialInFull:
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy

    return _in_full(session, trial_detail(session, trial_id))


@router.patch("/trials/{trial_id}", responses=problem_answers(400, 404))
def trial_changed(trial_id: Id, session: SessionDep, asked: TrialChange) -> TrialInFull:
    """Changes marks and details of a trial; its results follow, and every changed number is recorded with who, when and
    why.
    """
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy

    apply_change(session, trial_id, asked)
    return _in_full(session, trial_detail(session, trial_id))


@router.get("/trials/{trial_id}/readings", responses=problem_answers(404))
def trial_readings(
    trial_id: Id,
    session: SessionDep,
    channel: Annotated[str, Query(max_length=100)] = "pm2_5",
    max_points: Annotated[int, Query(ge=3, le=MOST_POINTS)] = 2000,
) -> ReadingsShape:
    """The readings of a channel, thinned without losing peaks."""
    thinned = thin_readings(session, log_id_of_trial(session, trial_id), channel, max_points)
    return ReadingsShape(
        channel=thinned.channel,
        unit=thinned.unit,
        readings=thinned.readings,
        elapsed_s=thinned.elapsed_s.tolist(),
        levels=thinned.levels.tolist(),
        **of_bench(session),
    )


@router.get(
    "/trials/{trial_id}/log",
    response_class=Response,
    responses={
        200: {"description": "The raw file, byte for byte", "content": {"application/octet-stream": {}}},
        **problem_answers(404),
    },
)
def trial_log(trial_id: Id, session: SessionDep) -> Response:
    """The raw file, byte for byte, as a download that a browser never displays."""
    raw = raw_log_of_trial(session, trial_id)
    return original_file(raw.content, raw.file_name, raw.sha256)


def _in_full(session: Session, detail: Any) -> TrialInFull:
    return TrialInFull(**dict(trial_shape(detail)), **of_bench(session))

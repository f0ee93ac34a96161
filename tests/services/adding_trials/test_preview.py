"""What the upload page shows before anything is stored, and that it is what gets stored."""

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound, UnreadableLog
from app.reading_files.log_table import ReadingChoices
from app.services.adding_trials.add import add_read_trial, add_trial
from app.services.adding_trials.preview import LogPreview, check_as_shown, preview_log, stored_results
from app.services.adding_trials.staged_results import StagedLog, read_staged_log
from app.services.adding_trials.staged_uploads import StagingArea, discard_upload, stage_upload, staged_upload
from app.services.bench.definitions import NewLogger
from app.services.bench.loggers import add_logger
from app.services.bench.rooms import change_room
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.all_models import METADATA
from tests.conftest import SmallBench, decay_log

EMPTY = NewTrial(kind=UNIT_RUNNING, room_id=0)


def _area(settings: Settings) -> StagingArea:
    return StagingArea(settings.data_folder / "uploads", settings.max_upload_bytes)


def _rows_in_store(session: Session) -> dict[str, int]:
    return {table.name: session.scalar(select(func.count()).select_from(table)) for table in METADATA.sorted_tables}


def _staged(settings: Settings, content: bytes, choices: ReadingChoices | None = None) -> StagedLog:
    return read_staged_log(
        _area(settings), stage_upload(_area(settings), content, "run.csv"), choices or ReadingChoices()
    )


def _running(bench: SmallBench, **changed: Any) -> NewTrial:
    return NewTrial(
        **{
            "kind": UNIT_RUNNING,
            "room_id": bench.room_id,
            "unit_under_test_id": bench.unit_id,
            "setting_id": bench.high_setting_id,
            "logger_id": bench.logger_id,
        }
        | changed
    )


def _confirm(session: Session, log: StagedLog, content: bytes, trial: NewTrial, preview: LogPreview) -> int:
    trial_id = add_read_trial(session, content, log.table, trial, log.choices, analyse=log.analyse)
    check_as_shown(session, log, trial_id, preview.digest)
    return trial_id


def test_a_preview_tells_how_each_column_was_read_and_stores_nothing(session: Session, settings: Settings):
    content = decay_log(6.0, channels=("PM2.5 [µg/m³]", "Remark"), shares=(1.0, 0.0))
    before = _rows_in_store(session)
    preview = preview_log(session, _staged(settings, content), EMPTY)
    assert _rows_in_store(session) == before
    assert preview.log.upload.file_name == "run.csv"
    assert [(column.header, column.use, column.channel) for column in preview.log.table.columns] == [
        ("time", "time", None),
        ("PM2.5 [µg/m³]", "channel", "pm2_5"),
        ("Remark", "left out", None),
    ]
    assert preview.decays["pm2_5"].fit.decay_rate.value == pytest.approx(6.0, rel=0.03)


def test_a_column_can_be_assigned_by_hand(session: Session, settings: Settings):
    choices = ReadingChoices(columns={"Haze": "pm10"}, units={"Haze": "µg/m³"})
    log = _staged(settings, decay_log(6.0, channels=("Haze",), shares=(1.0,)), choices)
    assert log.choices == choices
    assert list(preview_log(session, log, EMPTY).decays) == ["pm10"]


def test_marks_are_followed_and_checked(session: Session, settings: Settings):
    log = _staged(settings, decay_log(6.0))
    shown = preview_log(session, log, NewTrial(kind=UNIT_RUNNING, room_id=0, marks=TrialMarks(unit_on_s=1200)))
    assert shown.decays["pm2_5"].unit_on_h == pytest.approx(1200 / 3600)
    with pytest.raises(InvalidValue, match="The mark for unit on is at 99999 s; the log runs from 0 to 4500 s"):
        preview_log(session, log, NewTrial(kind=UNIT_RUNNING, room_id=0, marks=TrialMarks(unit_on_s=99999)))


def test_a_file_that_is_no_log_or_no_longer_waits_is_told(settings: Settings):
    with pytest.raises(UnreadableLog):
        _staged(settings, b"Dear reader,\nthis is a letter.\n")
    with pytest.raises(NotFound, match="There is no waiting upload"):
        staged_upload(_area(settings), "A" * 32)


def test_a_file_is_read_and_analysed_once_from_upload_to_trial(
    store: Engine, settings: Settings, small_bench: SmallBench, work_counted: dict[str, int]
):
    content = decay_log(6.0)
    upload, trial = stage_upload(_area(settings), content, "run.csv"), _running(small_bench)
    with session_scope(store) as session:
        preview = preview_log(session, read_staged_log(_area(settings), upload, ReadingChoices()), trial)
    with session_scope(store) as session:  # the confirmation knows only what lies in the data folder
        _confirm(session, read_staged_log(_area(settings), upload, ReadingChoices()), content, trial, preview)
    assert work_counted == {"reads": 1, "analyses": 3}


def test_every_stored_number_is_that_of_the_preview_to_the_last_bit(
    store: Engine, settings: Settings, small_bench: SmallBench
):
    with session_scope(store) as session:
        for seed in (5, 6):
            empty = NewTrial(kind=EMPTY_ROOM, room_id=small_bench.room_id)
            add_trial(session, decay_log(0.6, minutes=180, seed=seed), f"{seed}.csv", empty)
    content, trial = decay_log(6.0), _running(small_bench)
    log = _staged(settings, content)
    with session_scope(store) as session:
        preview = preview_log(session, log, trial)
        stored = stored_results(session, _confirm(session, log, content, trial, preview))
    assert stored == preview.results
    assert stored["pm2_5"]["clean_air_delivery_rate_m3_per_h"] == pytest.approx(30 * 5.4, rel=0.03)
    assert sum(isinstance(value, float) for value in stored["pm2_5"].values()) > 30


def test_a_result_that_the_bench_changed_meanwhile_is_not_stored_unseen(
    store: Engine, settings: Settings, small_bench: SmallBench
):
    content, trial, empty = decay_log(6.0), _running(small_bench), NewTrial(kind=EMPTY_ROOM, room_id=1)
    log = _staged(settings, content)
    with session_scope(store) as session:
        preview = preview_log(session, log, trial)
        add_trial(session, decay_log(0.6, minutes=180), "empty.csv", empty)
    with (
        session_scope(store) as session,
        pytest.raises(InvalidValue, match=r"PM2.5, clean air delivery rate: – to 16\d\.\d+ m³/h"),
        session.begin_nested(),
    ):
        _confirm(session, log, content, trial, preview)
    with session_scope(store) as session:
        second = preview_log(session, log, trial)
        change_room(session, small_bench.room_id, {"room_volume_m3": 29.0}, why="measured again")
    with (
        session_scope(store) as session,
        pytest.raises(InvalidValue, match="so nothing was saved") as told,
        session.begin_nested(),
    ):
        _confirm(session, log, content, trial, second)
    assert told.value.field == "shown"
    with session_scope(store) as session:
        assert _confirm(session, log, content, trial, preview_log(session, log, trial))


def test_what_a_new_logger_bears_on_the_analysis_is_in_the_preview(
    store: Engine, settings: Settings, small_bench: SmallBench
):
    content, logger = decay_log(6.0), NewLogger(name="Pocket meter", saturation_level_ug_m3=250, response_time_s=30)
    log = _staged(settings, content)
    with session_scope(store) as session:
        preview = preview_log(session, log, _running(small_bench, logger_id=None), logger)
        trial = _running(small_bench, logger_id=add_logger(session, logger))
        assert _confirm(session, log, content, trial, preview)
        assert preview.digest != preview_log(session, log, _running(small_bench)).digest


@pytest.mark.parametrize(
    "damage",
    [lambda content: content[:-9], lambda content: b"", lambda content: content[::-1]],
    ids=["cut off", "emptied", "reversed"],
)
def test_a_kept_file_that_is_damaged_is_made_again(
    session: Session, settings: Settings, work_counted: dict[str, int], damage: Callable[[bytes], bytes]
):
    upload = stage_upload(_area(settings), decay_log(6.0), "run.csv")
    first = preview_log(session, read_staged_log(_area(settings), upload, ReadingChoices()), EMPTY)
    kept = [*settings.data_folder.glob("uploads/*.table"), *settings.data_folder.glob("uploads/*.analysis")]
    assert len(kept) == 2
    for path in kept:
        path.write_bytes(damage(path.read_bytes()))
    again = preview_log(session, read_staged_log(_area(settings), upload, ReadingChoices()), EMPTY)
    assert work_counted == {"reads": 2, "analyses": 6}
    assert again.results == first.results


def test_what_another_version_of_the_program_kept_is_not_used(
    settings: Settings, work_counted: dict[str, int], monkeypatch: pytest.MonkeyPatch
):
    upload = stage_upload(_area(settings), decay_log(6.0), "run.csv")
    read_staged_log(_area(settings), upload, ReadingChoices())
    monkeypatch.setattr("app.services.adding_trials.staged_results._program", lambda: "another")
    read_staged_log(_area(settings), upload, ReadingChoices())
    assert work_counted["reads"] == 2


def test_other_choices_read_the_file_again_and_an_assumed_zone_does_not(
    settings: Settings, work_counted: dict[str, int]
):
    content = decay_log(6.0).replace(b"Z,", b",").replace(b"+00:00,", b",")
    upload = stage_upload(_area(settings), content, "run.csv")
    assumed = ReadingChoices(assumed_timezone="Europe/Berlin")
    first = read_staged_log(_area(settings), upload, assumed).table
    assert (first.timezone, first.zone_assumed) == ("Europe/Berlin", True)
    assert read_staged_log(_area(settings), upload, assumed).table.zone_assumed
    confirmed = ReadingChoices(timezone="Europe/Berlin", assumed_timezone="Europe/Berlin")
    chosen = read_staged_log(_area(settings), upload, confirmed).table
    assert (chosen.timezone, chosen.zone_assumed, chosen.started_at) == ("Europe/Berlin", False, first.started_at)
    assert work_counted["reads"] == 1
    elsewhere = read_staged_log(_area(settings), upload, ReadingChoices(timezone="America/New_York")).table
    assert elsewhere.started_at != first.started_at
    assert work_counted["reads"] == 2


def test_a_kept_table_is_the_table_that_was_read(settings: Settings):
    content = decay_log(6.0) + b"2026-03-02T10:16:00Z,ERR,1,1\n"
    upload = stage_upload(_area(settings), content, "run.csv")
    first, second = (read_staged_log(_area(settings), upload, ReadingChoices()).table for _ in range(2))
    assert first.skipped
    for name in first.__slots__:
        one, other = getattr(first, name), getattr(second, name)
        if name == "levels":
            assert one.keys() == other.keys()
            assert all(one[key].tobytes() == other[key].tobytes() for key in one)
        elif name == "elapsed_s":
            assert one.tobytes() == other.tobytes()
        else:
            assert one == other, name


def test_nothing_stays_of_a_discarded_upload(session: Session, settings: Settings):
    log = _staged(settings, decay_log(6.0))
    preview_log(session, log, EMPTY)
    discard_upload(_area(settings), log.upload.token)
    assert list((settings.data_folder / "uploads").iterdir()) == []

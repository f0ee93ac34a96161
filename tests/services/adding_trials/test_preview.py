"""What the upload page shows before anything is stored."""

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound, UnreadableLog
from app.reading_files.log_table import ReadingChoices
from app.services.adding_trials.preview import preview_log
from app.services.adding_trials.staged_uploads import stage_upload
from app.services.logs.trial_fields import TrialMarks
from app.settings import Settings
from app.storage.models.all_models import METADATA
from tests.conftest import decay_log


def _rows_in_store(session: Session) -> dict[str, int]:
    return {table.name: session.scalar(select(func.count()).select_from(table)) for table in METADATA.sorted_tables}


def test_a_preview_tells_how_each_column_was_read_and_stores_nothing(session: Session, settings: Settings):
    content = decay_log(6.0, channels=("PM2.5 [µg/m³]", "Remark"), shares=(1.0, 0.0))
    before = _rows_in_store(session)
    staged = stage_upload(settings, content, "run.csv")
    preview = preview_log(session, settings, staged.token)
    assert _rows_in_store(session) == before
    assert preview.upload.file_name == "run.csv"
    assert [(column.header, column.channel) for column in preview.recognised] == [("PM2.5 [µg/m³]", "pm2_5")]
    assert [column.header for column in preview.structural] == ["time"]
    assert [column.header for column in preview.unrecognised] == ["Remark"]
    assert preview.decays["pm2_5"].fit.decay_rate.value == pytest.approx(6.0, rel=0.03)


def test_a_column_can_be_assigned_by_hand(session: Session, settings: Settings):
    staged = stage_upload(settings, decay_log(6.0, channels=("Haze",), shares=(1.0,)), "run.csv")
    choices = ReadingChoices(columns={"Haze": "pm10"}, units={"Haze": "µg/m³"})
    preview = preview_log(session, settings, staged.token, choices)
    assert preview.choices == choices
    assert list(preview.decays) == ["pm10"]


def test_marks_are_followed_and_checked(session: Session, settings: Settings):
    staged = stage_upload(settings, decay_log(6.0), "run.csv")
    shown = preview_log(session, settings, staged.token, marks=TrialMarks(unit_on_s=1200))
    assert shown.decays["pm2_5"].unit_on_h == pytest.approx(1200 / 3600)
    with pytest.raises(InvalidValue, match="The mark for unit on is at 99999 s; the log runs from 0 to 4500 s"):
        preview_log(session, settings, staged.token, marks=TrialMarks(unit_on_s=99999))


def test_a_file_that_is_no_log_or_no_longer_waits_is_told(session: Session, settings: Settings):
    staged = stage_upload(settings, b"Dear reader,\nthis is a letter.\n", "letter.txt")
    with pytest.raises(UnreadableLog):
        preview_log(session, settings, staged.token)
    with pytest.raises(NotFound, match="There is no waiting upload"):
        preview_log(session, settings, "A" * 32)

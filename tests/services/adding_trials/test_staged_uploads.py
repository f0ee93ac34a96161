"""Files that wait for confirmation: kept apart from the store, behind a token, for a day."""

import os
from datetime import timedelta

import pytest

from app.errors import InvalidValue, NotFound, TooLarge
from app.services.adding_trials.staged_uploads import (
    discard_upload,
    remove_expired,
    stage_upload,
    staged_content,
    staged_upload,
)
from app.settings import Settings
from tests.conftest import NOW


def test_a_waiting_file_comes_back_byte_for_byte(settings: Settings):
    content = bytes(range(256)) * 10
    staged = stage_upload(settings, content, "C:\\logs\\run 1.csv", NOW)
    found = staged_upload(settings, staged.token, NOW + timedelta(hours=23))
    assert found == staged
    assert found.file_name == "run 1.csv"
    assert found.size_bytes == 2560
    assert staged_content(settings, found) == content


def test_pieces_are_put_together(settings: Settings):
    staged = stage_upload(settings, iter([b"time,pm\n", b"1,2\n"]), "a.csv", NOW)
    assert staged_content(settings, staged) == b"time,pm\n1,2\n"


def test_a_file_above_the_limit_is_refused_and_leaves_nothing(tmp_path):
    settings = Settings(tmp_path, max_upload_bytes=10)
    with pytest.raises(TooLarge) as refused:
        stage_upload(settings, iter([b"x" * 6, b"x" * 6]), "big.csv", NOW)
    assert refused.value.status == 413
    assert refused.value.message == (
        "big.csv is larger than 10 bytes, the upload limit. Split the log, or raise HAZEFALL_MAX_UPLOAD_BYTES."
    )
    assert list((tmp_path / "uploads").iterdir()) == []


def test_an_empty_file_is_refused(settings: Settings):
    with pytest.raises(InvalidValue, match=r"empty\.csv is empty\. Choose a log with readings\."):
        stage_upload(settings, b"", "empty.csv", NOW)


@pytest.mark.parametrize("token", ["../../bench.sqlite", "", "x" * 32, "a" * 31 + "/"])
def test_a_token_that_nobody_was_given_leads_nowhere(settings: Settings, token: str):
    with pytest.raises(NotFound, match="There is no waiting upload"):
        staged_upload(settings, token)


def test_after_a_day_the_file_is_gone(settings: Settings):
    staged = stage_upload(settings, b"x", "a.csv", NOW)
    with pytest.raises(NotFound):
        staged_upload(settings, staged.token, NOW + timedelta(hours=24))
    old = (NOW - timedelta(hours=25)).timestamp()
    for file in (settings.data_folder / "uploads").iterdir():
        os.utime(file, (old, old))
    assert remove_expired(settings, NOW) == 2
    assert list((settings.data_folder / "uploads").iterdir()) == []


def test_a_confirmed_file_is_taken_away(settings: Settings):
    staged = stage_upload(settings, b"x", "a.csv", NOW)
    discard_upload(settings, staged.token)
    beside = settings.data_folder / "beside.log"
    beside.write_text("not an upload")
    discard_upload(settings, "../beside")
    assert list((settings.data_folder / "uploads").iterdir()) == []
    assert beside.exists()


def test_a_name_that_is_only_signs_becomes_a_plain_one(settings: Settings):
    assert stage_upload(settings, b"x", "\x00\n/", NOW).file_name == "log"


def test_bytes_that_changed_on_the_disk_are_refused(settings: Settings):
    staged = stage_upload(settings, b"time,pm\n1,2\n", "a.csv", NOW)
    (settings.data_folder / "uploads" / f"{staged.token}.log").write_bytes(b"time,pm\n1,3\n")
    with pytest.raises(InvalidValue, match=r"The upload of a.csv was changed or damaged on the disk"):
        staged_content(settings, staged)

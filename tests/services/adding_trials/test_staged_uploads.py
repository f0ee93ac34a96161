"""Files that wait for confirmation: kept apart from the store, behind a token, for a day."""

import os
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import Engine, func, select, update

from app.errors import InvalidValue, NotFound, TooLarge
from app.services.adding_trials.staged_on_server import MOST_LARGEST_WAITING, PIECE_BYTES
from app.services.adding_trials.staged_uploads import (
    StagingArea,
    discard_upload,
    remove_expired,
    stage_upload,
    staged_content,
    staged_head,
    staged_upload,
    staging_area,
)
from app.settings import Settings
from app.storage.models.logs import StagedPiece
from tests.conftest import NOW


@pytest.fixture
def area(settings: Settings, store: Engine) -> StagingArea:
    """On a database server the files are in the database, and the folder stays empty."""
    return staging_area(settings, store)


def test_a_waiting_file_comes_back_byte_for_byte(area: StagingArea):
    content = bytes(range(256)) * 10
    staged = stage_upload(area, content, "C:\\logs\\run 1.csv", NOW)
    found = staged_upload(area, staged.token, NOW + timedelta(hours=23))
    assert found == staged
    assert found.file_name == "run 1.csv"
    assert found.size_bytes == 2560
    assert staged_content(area, found) == content


def test_pieces_are_put_together(area: StagingArea):
    staged = stage_upload(area, iter([b"time,pm\n", b"1,2\n"]), "a.csv", NOW)
    assert staged_content(area, staged) == b"time,pm\n1,2\n"


def test_a_file_above_the_limit_is_refused_and_leaves_nothing(area: StagingArea):
    area = replace(area, max_upload_bytes=10)
    with pytest.raises(TooLarge) as refused:
        stage_upload(area, iter([b"x" * 6, b"x" * 6]), "big.csv", NOW)
    assert refused.value.status == 413
    assert refused.value.message == (
        "big.csv is larger than 10 bytes, the upload limit. Split the log, or raise HAZEFALL_MAX_UPLOAD_BYTES."
    )
    assert list(area.folder.iterdir()) == []


def test_an_empty_file_is_refused(area: StagingArea):
    with pytest.raises(InvalidValue, match=r"empty\.csv is empty\. Choose a log with readings\."):
        stage_upload(area, b"", "empty.csv", NOW)


@pytest.mark.parametrize("token", ["../../bench.sqlite", "", "x" * 32, "a" * 31 + "/"])
def test_a_token_that_nobody_was_given_leads_nowhere(area: StagingArea, token: str):
    with pytest.raises(NotFound, match="There is no waiting upload"):
        staged_upload(area, token)


def test_after_a_day_the_file_is_gone(area: StagingArea):
    staged = stage_upload(area, b"x", "a.csv", NOW)
    with pytest.raises(NotFound):
        staged_upload(area, staged.token, NOW + timedelta(hours=24))
    old = (NOW - timedelta(hours=25)).timestamp()
    for file in area.folder.iterdir():
        os.utime(file, (old, old))
    assert remove_expired(area, NOW) == (0 if area.server else 2)
    assert remove_expired(area, NOW + timedelta(hours=25)) == (1 if area.server else 0)
    assert list(area.folder.iterdir()) == []


def test_a_confirmed_file_is_taken_away(area: StagingArea):
    staged = stage_upload(area, b"x", "a.csv", NOW)
    discard_upload(area, staged.token)
    beside = area.folder.parent / "beside.log"
    beside.write_text("not an upload")
    discard_upload(area, "../beside")
    assert list(area.folder.iterdir()) == []
    assert beside.exists()


def test_a_name_that_is_only_signs_becomes_a_plain_one(area: StagingArea):
    assert stage_upload(area, b"x", "\x00\n/", NOW).file_name == "log"


def test_bytes_that_changed_while_they_waited_are_refused(area: StagingArea):
    staged = stage_upload(area, b"time,pm\n1,2\n", "a.csv", NOW)
    if area.server is None:
        (area.folder / f"{staged.token}.log").write_bytes(b"time,pm\n1,3\n")
    else:
        with area.server.begin() as connection:
            connection.execute(update(StagedPiece).values(content=b"time,pm\n1,3\n"))
    with pytest.raises(InvalidValue, match=r"The upload of a.csv was changed or damaged while it waited"):
        staged_content(area, staged)


def test_a_server_takes_a_file_in_pieces_and_no_more_than_a_number_of_the_largest(area: StagingArea):
    if area.server is None:
        pytest.skip("files in a folder are not counted")
    content = bytes(range(256)) * (5 * PIECE_BYTES // 512)  # two pieces and a half
    area = replace(area, max_upload_bytes=len(content))
    staged = [stage_upload(area, content, "a.csv", NOW) for _ in range(MOST_LARGEST_WAITING)]
    assert staged_content(area, staged[-1]) == content
    assert staged_head(area, staged[-1], PIECE_BYTES + 1) == content[: PIECE_BYTES + 1]
    with area.server.connect() as connection:
        assert connection.scalar(select(func.count()).select_from(StagedPiece)) == 3 * MOST_LARGEST_WAITING
    with pytest.raises(TooLarge, match=r"already waiting for confirmation; at most [\d,]+ may wait\. Save or discard"):
        stage_upload(area, b"x", "b.csv", NOW)
    discard_upload(area, staged[0].token)
    assert stage_upload(area, b"x", "b.csv", NOW).size_bytes == 1
    assert list(area.folder.iterdir()) == []

"""A file larger than any log is streamed to disk by a real server and never fills its memory.

`python -m tests.studies.large_upload 500` sends one of 500 MB.
"""

from tests.studies.large_upload import MB, send, served

SIZE = 280 * MB  # above the most that is read, 256 MB
MOST_GROWN_MB = 100  # what the program loads meanwhile; a file held in memory would be three times as much


def test_a_file_within_the_limit_goes_to_the_disk_and_is_refused_unread():
    with served(SIZE + 20 * MB) as (port, pid, let_in):
        for path in ("/trials/add", "/api/trials"):
            answered = send(port, pid, let_in, path, SIZE)
            assert answered.status == 422
            assert "huge.csv: The file has 280 MB; at most 256 MB are read." in answered.words
            assert answered.grown_mb < MOST_GROWN_MB


def test_a_file_above_the_limit_is_turned_away_whether_its_length_is_told_or_not():
    with served(50_000_000) as (port, pid, let_in):
        for chunked in (False, True):
            answered = send(port, pid, let_in, "/api/trials", SIZE, chunked=chunked)
            assert answered.status == 413
            assert "HAZEFALL_MAX_UPLOAD_BYTES" in answered.words
            assert answered.grown_mb < MOST_GROWN_MB

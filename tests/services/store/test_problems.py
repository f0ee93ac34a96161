"""What a driver says, in words that tell the reader what to do."""

import errno
import os
import sqlite3

import pytest
from sqlalchemy.exc import OperationalError

from app.services.store.problems import file_problem_from, store_problem_for_readers, store_problem_from


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            "database is locked",
            "bench.sqlite is locked by another program. Close that program, or wait until it has "
            "finished, and try again.",
        ),
        (
            "database or disk is full",
            "bench.sqlite cannot grow: the disk is full. Nothing was saved in this step. Free disk "
            "space and try again.",
        ),
        (
            "attempt to write a readonly database",
            "bench.sqlite cannot be written: attempt to write a readonly database. Give the program "
            "write permission, or choose another folder with --data or HAZEFALL_DATA.",
        ),
        (
            "disk I/O error",
            "bench.sqlite cannot be read or written: the disk reported an error. Nothing was saved in "
            "this step. Check whether the disk is full, over quota or failing, then try again. Run "
            "`hazefall check` to verify the store.",
        ),
        (
            "database disk image is malformed",
            "bench.sqlite is damaged or not a store: database disk image is malformed. Keep the file "
            "unchanged and restore a copy with `hazefall restore`; copies made before each migration "
            "are beside it.",
        ),
        (
            "connection to server at 127.0.0.1 refused\nIs it running?",
            "bench.sqlite does not respond: connection to server at 127.0.0.1 refused. Start the "
            "database server and try again.",
        ),
        (
            'connection failed: connection to server at "db", port 5432 failed: FATAL:  password authentication failed '
            'for user "desk"',
            'bench.sqlite rejects this name and password: password authentication failed for user "desk". '
            "Correct them in --database or HAZEFALL_DATABASE_URL, or keep the password in ~/.pgpass.",
        ),
        (
            'connection failed: connection to server at "db", port 1 failed: FATAL:  sorry, too many clients already',
            "bench.sqlite accepts no more connections: sorry, too many clients already. Start fewer "
            "server processes with --workers, or raise max_connections of the database server.",
        ),
        (
            "permission denied for schema public\nLINE 2: CREATE TABLE bench",
            "bench.sqlite refuses this user: permission denied for schema public. Make the user the owner of the "
            "database (ALTER DATABASE name OWNER TO user) and of the tables in it (REASSIGN OWNED BY their owner TO "
            "user).",
        ),
    ],
)
def test_a_state_of_the_store_is_told_in_words(said: str, told: str):
    problem = store_problem_from(OperationalError("SELECT 1", {}, sqlite3.OperationalError(said)), "bench.sqlite")
    assert problem is not None
    assert problem.message == told
    assert problem.status == 503


def test_a_mistake_of_the_program_is_not_taken_for_a_state_of_the_store():
    assert store_problem_from(sqlite3.OperationalError("no such column: x")) is None


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EFBIG])
def test_a_file_for_which_there_is_no_room_is_told_in_words(number: int):
    problem = file_problem_from(OSError(number, os.strerror(number), "/bench/uploads/a.log"))
    assert problem is not None
    assert problem.message == (
        f"/bench/uploads/a.log cannot be written: there is not enough space ({os.strerror(number)}). "
        f"Nothing was saved in this step. Free disk space and try again."
    )


def test_a_file_that_is_missing_is_no_want_of_room():
    assert file_problem_from(FileNotFoundError(errno.ENOENT, "No such file or directory", "a.log")) is None


def test_a_disk_that_fills_within_a_savepoint_is_told_as_such():
    """SQLite takes the whole transaction back then, and going back to the savepoint fails with other words."""
    try:
        try:
            raise sqlite3.OperationalError("database or disk is full")
        except sqlite3.OperationalError:
            raise sqlite3.OperationalError("no such savepoint: sa_savepoint_1")  # noqa: B904 - as it comes about
    except sqlite3.OperationalError as error:
        problem = store_problem_from(OperationalError("ROLLBACK TO SAVEPOINT sa_savepoint_1", {}, error))
    assert problem is not None
    assert problem.message.startswith("The store cannot grow: the disk is full. Nothing was saved in this step. Free")
    assert store_problem_from(sqlite3.OperationalError("no such savepoint: sa_savepoint_1")) is None


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            'connection failed: connection to server at "db" (10.0.0.5), port 5432 failed: Connection refused',
            "The store does not respond: the log of the program says why. Start the database server and try again.",
        ),
        (
            "failed to resolve host 'db.example.org': [Errno -2] Name or service not known",
            "The store does not respond: the log of the program says why. Start the database server and try again.",
        ),
        (
            'connection to server at "db", port 5432 failed: FATAL:  no pg_hba.conf entry for host "10.0.0.5", '
            'user "desk", database "bench", no encryption',
            "The store rejects this name and password: the log of the program says why. Correct them in --database or "
            "HAZEFALL_DATABASE_URL, or keep the password in ~/.pgpass.",
        ),
    ],
)
def test_a_reader_is_not_told_what_a_database_server_says(said: str, told: str, caplog: pytest.LogCaptureFixture):
    problem = store_problem_for_readers(OperationalError("SELECT 1", {}, sqlite3.OperationalError(said)))
    assert problem.message == told
    assert "10.0.0.5" in caplog.text or "db.example.org" in caplog.text

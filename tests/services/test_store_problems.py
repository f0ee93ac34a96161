"""What a driver says, in words that tell the reader what to do."""

import sqlite3

import pytest
from sqlalchemy.exc import OperationalError

from app.services.store_problems import store_problem_from


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            "database is locked",
            "bench.sqlite is held by another program, which did not let go of it in time. Close the other program, or "
            "wait until its work is done, and try again.",
        ),
        (
            "database or disk is full",
            "bench.sqlite cannot grow: the disk is full. Nothing of this step was stored. Make room on the disk and "
            "try again.",
        ),
        (
            "attempt to write a readonly database",
            "bench.sqlite cannot be written: attempt to write a readonly database. Give the program the right to write "
            "there, or choose another folder with --data or HAZEFALL_DATA.",
        ),
        (
            "database disk image is malformed",
            "bench.sqlite is damaged or is no store: database disk image is malformed. Keep the file as it is and "
            "bring back a copy with `hazefall restore`; copies made before each migration lie beside it.",
        ),
        (
            "connection to server at 127.0.0.1 refused\nIs it running?",
            "bench.sqlite does not answer: connection to server at 127.0.0.1 refused. Start the database server and "
            "try again.",
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

"""The store itself keeps the record of changes as it is: rows are added and never altered, removed or replaced."""

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from app.services.store.audit import record_change
from app.services.store.check import check_store
from app.storage.engine import session_scope
from tests.conftest import sqlite_only

_ROW = "(id, at, who, action, subject, subject_id, field, why) VALUES (1, '2026-01-01', 'Eve', 'x', 'x', 1, '', '')"
FORBIDDEN = [
    "UPDATE changes SET who = 'Eve'",
    "UPDATE changes SET id = 77",
    "DELETE FROM changes",
    "DELETE FROM changes WHERE id = 1",
]


@pytest.fixture
def with_change(store: Engine) -> Engine:
    with session_scope(store) as session:
        record_change(session, "Ann", "changed", "room", 1, "notes", "before", "after")
    return store


def _rows(store: Engine) -> list[tuple]:
    with store.connect() as connection:
        return [tuple(row) for row in connection.execute(text("SELECT id, who, before, after FROM changes"))]


@pytest.mark.parametrize("statement", FORBIDDEN)
def test_a_record_cannot_be_altered_or_removed(with_change: Engine, statement: str):
    with (
        pytest.raises(DBAPIError, match="the record of changes can only be added to"),
        with_change.begin() as connection,
    ):
        connection.execute(text(statement))
    assert _rows(with_change) == [(1, "Ann", "before", "after")]


@sqlite_only
@pytest.mark.parametrize("statement", ["INSERT OR REPLACE INTO changes " + _ROW, "REPLACE INTO changes " + _ROW])
def test_a_record_cannot_be_replaced(with_change: Engine, statement: str):
    """Replacing removes the old row without asking a trigger on DELETE."""
    with (
        pytest.raises(DBAPIError, match="the record of changes can only be added to"),
        with_change.begin() as connection,
    ):
        connection.execute(text(statement))
    assert _rows(with_change) == [(1, "Ann", "before", "after")]


def test_records_are_added_as_before(with_change: Engine):
    with session_scope(with_change) as session:
        record_change(session, "Bea", "changed", "room", 1, "notes", "after", "later")
    assert [row[1] for row in _rows(with_change)] == ["Ann", "Bea"]


_TAKEN_AWAY = {
    "sqlite": "DROP TRIGGER changes_refuse_update",
    "postgresql": "ALTER TABLE changes DISABLE TRIGGER changes_refuse_update",
}


def test_the_check_finds_that_the_refusal_was_taken_away(with_change: Engine):
    assert check_store(with_change).sound
    with with_change.begin() as connection:
        connection.execute(text(_TAKEN_AWAY[with_change.dialect.name]))
    (finding,) = check_store(with_change).findings
    assert finding.wrong
    assert finding.message.startswith(
        "The store no longer protects the change history: changes_refuse_update was removed. Compare"
    )

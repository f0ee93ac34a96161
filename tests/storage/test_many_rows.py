"""Many rows with one statement, on both kinds of database."""

from sqlalchemy import Engine, bindparam, insert, select, update

from app.storage.engine import session_scope
from app.storage.many_rows import write_many
from app.storage.models.bench import Change
from app.storage.models.summaries import BenchRepeatability

NAMES = ("subject_id", "at", "who", "action", "subject", "field", "after", "why")


def test_values_arrive_in_the_columns_that_are_named(store: Engine):
    rows = [(n, "2026-01-01T00:00:00.000000Z", "desk", "changed", "room", "%s ?", f"{n} :x", "") for n in range(3)]
    with session_scope(store) as session:
        write_many(session.connection(), insert(Change), NAMES, rows)
    with session_scope(store) as session:
        found = session.execute(select(Change.subject_id, Change.field, Change.before, Change.after)).all()
    assert sorted(tuple(row) for row in found) == [(n, "%s ?", None, f"{n} :x") for n in range(3)]


def test_each_row_is_changed_by_its_own_values(store: Engine):
    one = {
        "relative_fit_sd": 0.0,
        "degrees_of_freedom": 5.0,
        "groups": 1,
        "trials": 2,
        "source": "",
        "computed_at": "2026-01-01T00:00:00Z",
    }
    names = ("channel", "relative_sd", *one)
    rows = [(channel, 0.05, *one.values()) for channel in ("pm1", "pm2_5", "pm10")]
    statement = update(BenchRepeatability).where(BenchRepeatability.channel == bindparam("of_channel"))
    with session_scope(store) as session:
        write_many(session.connection(), insert(BenchRepeatability), names, rows)
        write_many(session.connection(), statement, ("relative_sd", "of_channel"), [(0.03, "pm1"), (0.1 + 0.2, "pm10")])
    with session_scope(store) as session:
        found = dict(map(tuple, session.execute(select(BenchRepeatability.channel, BenchRepeatability.relative_sd))))
    assert found == {"pm1": 0.03, "pm2_5": 0.05, "pm10": 0.1 + 0.2}


def test_no_row_is_no_statement(store: Engine):
    with session_scope(store) as session:
        write_many(session.connection(), insert(Change), NAMES, [])
        assert session.scalars(select(Change)).all() == []

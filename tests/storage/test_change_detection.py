"""The mark of the store moves with every commit, and with nothing else."""

import pytest
from sqlalchemy import Engine, update

from app.storage.change_detection import ChangeDetector
from app.storage.engine import open_engine, session_scope
from app.storage.models.bench import Bench


def _rename(engine: Engine, name: str) -> None:
    with session_scope(engine) as session:
        session.execute(update(Bench).values(name=name))


def test_the_mark_moves_with_a_commit_of_this_process(store: Engine):
    watch = ChangeDetector(store)
    before = watch.mark()
    _rename(store, "another name")
    assert watch.mark() != before
    watch.close()


def test_the_mark_moves_with_a_commit_through_another_engine(store: Engine):
    watch = ChangeDetector(store)
    before = watch.mark()
    other = open_engine(store.url.render_as_string(hide_password=False))
    _rename(other, "from elsewhere")
    other.dispose()
    assert watch.mark() != before
    watch.close()


def test_reading_leaves_the_mark(store: Engine):
    """On PostgreSQL the mark may also move with a commit in another database of the server, as of tests that run
    beside this one; some of many looks fall between two of those."""
    watch = ChangeDetector(store)
    unmoved = 0
    for _ in range(100):
        before = watch.mark()
        with session_scope(store, writes=False) as session:
            session.get(Bench, 1)
        unmoved += watch.mark() == before
    assert unmoved == 100 if store.dialect.name == "sqlite" else unmoved > 0
    watch.close()


@pytest.mark.sqlite_only("a rolled-back change moves the snapshot of PostgreSQL, and the ranking is read once more")
def test_rolling_back_leaves_the_mark(store: Engine):
    watch = ChangeDetector(store)
    before = watch.mark()
    with session_scope(store) as session:
        session.execute(update(Bench).values(name="never kept"))
        session.rollback()
    assert watch.mark() == before
    watch.close()


def test_the_watching_connection_takes_no_place_of_the_pool(store: Engine):
    watch = ChangeDetector(store)
    watch.mark()
    assert store.pool.checkedout() == 0  # type: ignore[attr-defined]
    watch.close()
    watch.close()  # closing twice does nothing

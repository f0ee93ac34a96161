"""The mark of the store moves with every commit, and with nothing else."""

from sqlalchemy import Engine, update

from app.storage.bench import Bench
from app.storage.engine import open_engine, session_scope
from app.storage.store_watch import StoreWatch


def _rename(engine: Engine, name: str) -> None:
    with session_scope(engine) as session:
        session.execute(update(Bench).values(name=name))


def test_the_mark_moves_with_a_commit_of_this_process(store: Engine):
    watch = StoreWatch(store)
    before = watch.mark()
    assert watch.mark() == before
    _rename(store, "another name")
    assert watch.mark() != before
    watch.close()


def test_the_mark_moves_with_a_commit_through_another_engine(store: Engine):
    watch = StoreWatch(store)
    before = watch.mark()
    other = open_engine(store.url.render_as_string(hide_password=False))
    _rename(other, "from elsewhere")
    other.dispose()
    assert watch.mark() != before
    watch.close()


def test_reading_and_rolling_back_leave_the_mark(store: Engine):
    watch = StoreWatch(store)
    before = watch.mark()
    with session_scope(store, writes=False) as session:
        session.get(Bench, 1)
    with session_scope(store) as session:
        session.execute(update(Bench).values(name="never kept"))
        session.rollback()
    assert watch.mark() == before
    watch.close()


def test_the_watching_connection_takes_no_place_of_the_pool(store: Engine):
    watch = StoreWatch(store)
    watch.mark()
    assert store.pool.checkedout() == 0  # type: ignore[attr-defined]
    watch.close()
    watch.close()  # closing twice does nothing

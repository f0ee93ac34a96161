"""Cache of data read for all units, valid while the store is unchanged, and renewed unit by unit.

Only sessions that read make use of it: the state of the bench is asked for in their own transaction, so that what is
kept under that state is what the transaction would read. On SQLite the store counts its changes, also those of each
unit; on PostgreSQL the snapshot of the transaction is the state, and any change renews everything.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy import bindparam, select, text
from sqlalchemy.orm import Session

from app.storage.models.unit_changes import WHOLE_BENCH, UnitChanges

T = TypeVar("T")
# Reads data of some units (None: of all), as unit id to value.
ReadUnits = Callable[[Collection[int] | None], Mapping[int, T]]

_MOST_KEPT = 32  # cached reads: the channels, rooms, tariffs and queries in use
_MOST_RENEWED = 200  # with more changed units, reading all at once is faster
_STATE = "state of the bench"  # key in the session's info
_CHANGES = select(UnitChanges.changes).where(UnitChanges.unit_under_test_id == bindparam("id"))
_COUNTS = "changes of each unit"
_BY_UNIT = f"SELECT unit_under_test_id, changes FROM unit_changes WHERE unit_under_test_id <> {WHOLE_BENCH}"


@dataclass(frozen=True, slots=True)
class _Kept:
    """A cache entry. `changes` is each unit's change count when it was read; None if not cached by unit."""

    state: Hashable
    changes: Mapping[int, int] | None
    value: Any


class _KeptOfStore:
    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.entries: OrderedDict[Hashable, _Kept] = OrderedDict()

    def get(self, key: Hashable) -> _Kept | None:
        with self.lock:
            found = self.entries.get(key)
            if found is not None:
                self.entries.move_to_end(key)
            return found

    def put(self, key: Hashable, kept: _Kept) -> None:
        with self.lock:
            self.entries[key] = kept
            self.entries.move_to_end(key)
            while len(self.entries) > _MOST_KEPT:
                self.entries.popitem(last=False)


_STORES: WeakKeyDictionary[Any, _KeptOfStore] = WeakKeyDictionary()  # by pool of connections
_STORES_LOCK = threading.Lock()


def kept(session: Session, key: Hashable, read: Callable[[], T]) -> T:
    """What `read` gives, read anew only where something of the bench changed since it was read under this key.

    key : the question with everything that its answer depends on besides the bench: a name and frozen choices
    """
    state = bench_state(session)
    if state is None:
        return read()
    store = _kept_of(session)
    found = store.get(key)
    if found is not None and found.state == state:
        answer: T = found.value
        return answer
    answer = read()
    store.put(key, _Kept(state, None, answer))
    return answer


def kept_by_unit(session: Session, key: Hashable, read: ReadUnits[T]) -> Mapping[int, T]:
    """Like `kept`, for what belongs to single units: after a change only the units that changed are read anew, and
    what is kept of the others is the same object as before.

    read : must depend on nothing but the unit's own rows and the key
    """
    state = bench_state(session)
    if state is None:
        return read(None)
    store = _kept_of(session)
    found = store.get(key)
    if found is not None and found.state == state:
        answer: Mapping[int, T] = found.value
        return answer
    counts = _changes_by_unit(session)
    changed = None if found is None or counts is None or found.changes is None else _changed(found.changes, counts)
    if found is None or changed is None or len(changed) > _MOST_RENEWED:
        answer = read(None)
    elif changed:
        renewed = read(changed)
        answer = _with_renewed(found.value, changed, renewed)
    else:
        answer = found.value
    store.put(key, _Kept(state, counts, answer))
    return answer


def bench_state(session: Session) -> Hashable | None:
    """A mark of the bench as this transaction sees it; None for a session that writes, which keeps nothing."""
    if session.get_bind().get_execution_options().get("writes", True):
        return None
    if _STATE not in session.info:
        connection = session.connection()
        if connection.dialect.name == "sqlite":
            session.info[_STATE] = connection.execute(_CHANGES, {"id": WHOLE_BENCH}).scalar() or 0
        else:
            session.info[_STATE] = str(connection.scalar(text("SELECT CAST(pg_current_snapshot() AS text)")))
    state: Hashable = session.info[_STATE]
    return state


def forget_kept(session: Session) -> None:
    """Forgets all that is kept of the store of a session."""
    with _STORES_LOCK:
        _STORES.pop(session.get_bind().engine.pool, None)


def _kept_of(session: Session) -> _KeptOfStore:
    pool = session.get_bind().engine.pool
    with _STORES_LOCK:
        return _STORES.setdefault(pool, _KeptOfStore())


def _with_renewed(before: Mapping[int, T], changed: Collection[int], renewed: Mapping[int, T]) -> dict[int, T]:
    """Each unit keeps its place among the others."""
    answer = dict(before)
    for unit in changed:
        if unit in renewed:
            answer[unit] = renewed[unit]
        else:
            answer.pop(unit, None)
    return answer


def _changes_by_unit(session: Session) -> dict[int, int] | None:
    """How often each unit was changed; read once in a transaction, by the driver itself: half of the time."""
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return None
    if _COUNTS not in session.info:
        cursor = connection.connection.cursor()
        cursor.execute(_BY_UNIT)
        session.info[_COUNTS] = dict(cursor.fetchall())
        cursor.close()
    counts: dict[int, int] = session.info[_COUNTS]
    return counts


def _changed(before: Mapping[int, int], now: Mapping[int, int]) -> set[int]:
    return {unit for unit, changes in now.items() if before.get(unit) != changes}

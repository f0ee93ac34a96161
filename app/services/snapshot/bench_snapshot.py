"""One state of the bench, with everything that was read and computed from it.

This is the only cache of stored data and results in a process; fits of live runs are cached apart. Its version is read
in the same transaction as the data, so that nothing read in one transaction can end up under the version of another.
One rule holds for all of it: what belongs to a version is used by transactions that see that version, and by no
others.

The store counts its changes by triggers, also those of each unit, so that a later version takes over what belongs to
units that did not change.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.storage.models.bench import WHOLE_BENCH, UnitChanges

T = TypeVar("T")
C = TypeVar("C", bound=Hashable)
P = ParamSpec("P")
Version = int  # of two versions of one store the larger one is the later

_MOST_VIEWS = 32
_MOST_BY_UNIT = 32
_MOST_OF_VALUES = 16
_MOST_OF_ROWS = 4_000
_MOST_RENEWED = 200  # with more units changed, reading all of them is faster
_HELD = "snapshot of this transaction"
_CHANGES = select(UnitChanges.changes).where(UnitChanges.unit_under_test_id == bindparam("id"))
_CHANGES_BY_UNIT = f"SELECT unit_under_test_id, changes FROM unit_changes WHERE unit_under_test_id <> {WHOLE_BENCH}"


class _Cached:
    """The entries used last, up to a number of them; for many threads."""

    def __init__(self, most: int, entries: Mapping[Hashable, Any] | None = None) -> None:
        self._most, self._lock = most, threading.Lock()
        self._entries = OrderedDict(entries or {})

    def find(self, key: Hashable) -> Any:
        with self._lock:
            found = self._entries.get(key)
            if found is not None:
                self._entries.move_to_end(key)
            return found

    def store(self, key: Hashable, entry: Any) -> None:
        with self._lock:
            self._entries[key] = entry
            self._entries.move_to_end(key)
            while len(self._entries) > self._most:
                self._entries.popitem(last=False)

    def copied(self) -> "_Cached":
        with self._lock:
            return _Cached(self._most, self._entries)


class _ByUnit(NamedTuple):
    """Something of each unit, with the number of changes of each unit when it was read."""

    changes: Mapping[int, int]
    units: Mapping[int, Any]


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """What is cached of one version.

    changes : number of changes of each unit
    of_values, of_rows : results that follow from their arguments alone, so that every version shares them
    """

    version: Version
    changes: Mapping[int, int]
    by_unit: _Cached = field(default_factory=lambda: _Cached(_MOST_BY_UNIT))
    some_units: _Cached = field(default_factory=lambda: _Cached(_MOST_BY_UNIT))
    views: _Cached = field(default_factory=lambda: _Cached(_MOST_VIEWS))
    of_values: _Cached = field(default_factory=lambda: _Cached(_MOST_OF_VALUES))
    of_rows: _Cached = field(default_factory=lambda: _Cached(_MOST_OF_ROWS))

    def next(self, version: Version, changes: Mapping[int, int]) -> "_State":
        """A later state; entries by unit are renewed when they are next asked for."""
        by_unit, some_units = self.by_unit.copied(), self.some_units.copied()
        return _State(version, changes, by_unit, some_units, of_values=self.of_values, of_rows=self.of_rows)


@dataclass(frozen=True, slots=True, eq=False)
class BenchSnapshot:
    """The bench as one transaction sees it.

    session : for reading what was not read of this version yet
    """

    session: Session
    _state: _State | None  # None: the session writes, so that nothing is cached

    @property
    def version(self) -> Version | None:
        return None if self._state is None else self._state.version

    @property
    def is_large(self) -> bool:
        """Whether a part of the units is worth a query of its own."""
        return self._state is not None and len(self._state.changes) > _MOST_RENEWED

    def view(self, function: Callable[["BenchSnapshot", C], T], choices: C) -> T:
        """What a function makes of this snapshot and some choices, computed once for each version.

        function : its answer must depend on nothing but the snapshot and the choices, and must not be changed later
        """
        if self._state is None:
            return function(self, choices)
        key = function, choices
        found = self._state.views.find(key)
        if found is None:
            found = (function(self, choices),)
            self._state.views.store(key, found)
        answer: T = found[0]
        return answer

    def by_unit(
        self, function: Callable[["BenchSnapshot", C, Collection[int] | None], Mapping[int, T]], choices: C
    ) -> Mapping[int, T]:
        """Like `view`, for what belongs to single units: after a change it is computed for the changed units alone.

        function : gives unit id to value for the units named, or for all (None); a value must depend on nothing but
            rows that belong to the unit, and the choices
        """
        state = self._state
        if state is None:
            return function(self, choices, None)
        key = function, choices
        found: _ByUnit | None = state.by_unit.find(key)
        if found is not None and found.changes is state.changes:
            return found.units
        changed = _changed_units(found, state.changes)
        if found is None or changed is None:
            units: Mapping[int, T] = function(self, choices, None)
        elif changed:
            units = _renewed(found.units, changed, function(self, choices, changed))
        else:
            units = found.units
        state.by_unit.store(key, _ByUnit(state.changes, units))
        return units

    def some_units(
        self,
        function: Callable[["BenchSnapshot", C, Collection[int] | None], Mapping[int, T]],
        choices: C,
        unit_ids: Collection[int],
    ) -> Mapping[int, T]:
        """What `by_unit` gives for these units; it is computed for them alone, where it is not known of all."""
        state = self._state
        if state is None:
            return function(self, choices, unit_ids)
        key = function, choices
        if state.by_unit.find(key) is not None:
            units = self.by_unit(function, choices)
            return {unit: units[unit] for unit in unit_ids if unit in units}
        now, known = state.changes, state.some_units.find(key) or {}
        missing = [unit for unit in unit_ids if unit not in known or known[unit][0] != now.get(unit)]
        if missing:
            read = function(self, choices, missing)
            known = known | {unit: (now.get(unit), read.get(unit)) for unit in missing}
            state.some_units.store(key, known)
        return {unit: known[unit][1] for unit in unit_ids if known[unit][1] is not None}

    def of_values(self, function: Callable[P, T], *values: P.args, **named: P.kwargs) -> T:
        """What a function makes of some values alone, for work that takes longer than comparing the values."""
        if self._state is None:
            return function(*values, **named)
        return _of_arguments(self._state.of_values, function, *values, **named)

    def of_row(self, function: Callable[P, T], *values: P.args, **named: P.kwargs) -> T:
        """Like `of_values`, for a row of a long table: thousands of rows are cached."""
        if self._state is None:
            return function(*values, **named)
        return _of_arguments(self._state.of_rows, function, *values, **named)


class _Arguments:
    """A function with its arguments, whose hash is computed once: those of thousands of values take milliseconds."""

    __slots__ = ("_hash", "values")

    def __init__(self, *values: Hashable) -> None:
        self.values, self._hash = values, hash(values)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Arguments) and self.values == other.values


def _of_arguments(cached: _Cached, function: Callable[P, T], *values: P.args, **named: P.kwargs) -> T:
    key = _Arguments(function, values, tuple(named.items()))
    found = cached.find(key)
    if found is None:
        found = (function(*values, **named),)
        cached.store(key, found)
    answer: T = found[0]
    return answer


_NEWEST: WeakKeyDictionary[Any, _State] = WeakKeyDictionary()  # by pool of connections
_NEWEST_LOCK = threading.Lock()


def current_snapshot(session: Session) -> BenchSnapshot:
    """The snapshot of the session's transaction; a session that writes gets one that caches nothing."""
    if session.get_bind().get_execution_options().get("writes", True):
        return BenchSnapshot(session, None)
    session.connection()  # begins the transaction where it has not begun
    transaction, state = session.info.get(_HELD, (None, None))
    if transaction is not session.get_transaction():
        state = _state_of(session)
        session.info[_HELD] = (session.get_transaction(), state)
    return BenchSnapshot(session, state)


def forget_snapshot(session: Session) -> None:
    """Forgets what is cached of the store of a session."""
    with _NEWEST_LOCK:
        _NEWEST.pop(session.get_bind().engine.pool, None)


def _state_of(session: Session) -> _State:
    """The state of the version that this transaction sees; only the newest one is cached."""
    pool, version = session.get_bind().engine.pool, _version(session)
    with _NEWEST_LOCK:
        newest = _NEWEST.get(pool)
    if newest is not None and newest.version == version:
        return newest
    changes = _changes_by_unit(session)
    with _NEWEST_LOCK:
        newest = _NEWEST.get(pool)
        if newest is None:
            state = _NEWEST[pool] = _State(version, changes)
        elif newest.version < version:
            state = _NEWEST[pool] = newest.next(version, changes)
        elif newest.version == version:
            state = newest
        else:
            state = _State(version, changes)
        return state


def _version(session: Session) -> Version:
    """Grows with each commit that concerns a snapshot."""
    return session.connection().execute(_CHANGES, {"id": WHOLE_BENCH}).scalar() or 0


def _changes_by_unit(session: Session) -> dict[int, int]:
    """Read by the driver itself, which takes half the time."""
    cursor = session.connection().connection.cursor()
    try:
        cursor.execute(_CHANGES_BY_UNIT)
        return dict(cursor.fetchall())
    finally:
        cursor.close()


def _changed_units(found: _ByUnit | None, now: Mapping[int, int]) -> set[int] | None:
    """The units that changed since something was read; None where all have to be read."""
    if found is None:
        return None
    changed = {unit for unit, changes in now.items() if found.changes.get(unit) != changes}
    return changed if len(changed) <= _MOST_RENEWED else None


def _renewed(before: Mapping[int, T], changed: Collection[int], read: Mapping[int, T]) -> dict[int, T]:
    """Each unit keeps its place among the others; one that was not read is gone."""
    units = dict(before)
    for unit in changed:
        if unit in read:
            units[unit] = read[unit]
        else:
            units.pop(unit, None)
    return units

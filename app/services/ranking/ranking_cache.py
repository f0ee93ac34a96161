"""Tables of the ranking kept in memory until something in the store changes.

A desk looks at the ranking far more often than it changes the bench. The table of a thousand units takes some tens
of milliseconds to read; asking the store whether anything was committed since takes some hundredths of one.
"""

import threading
from collections import OrderedDict
from collections.abc import Hashable

from sqlalchemy import Engine

from app.services.ranking.rows import RankingTable, read_ranking_table, table_key
from app.services.snapshot.choices import RankingChoices
from app.storage.change_detection import ChangeDetector
from app.storage.engine import session_scope

_MOST_KEPT = 6  # channels, rooms and tariffs that readers look at in turn


class KeptRankings:
    """The tables of one process. Each is read in a transaction of its own, begun after the mark that it is kept
    under, so that it is never older than the mark."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._watch = ChangeDetector(engine)
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[object, ...], tuple[Hashable, RankingTable]] = OrderedDict()

    def table(self, choices: RankingChoices) -> RankingTable:
        """The table for these choices as the store has it now. Raises InvalidValue as `read_ranking_table` does."""
        key, mark = table_key(choices), self._watch.mark()
        with self._lock:
            found = self._kept.get(key)
            if found is not None and found[0] == mark:
                self._kept.move_to_end(key)
                return found[1]
        with session_scope(self._engine, writes=False) as session:
            table = read_ranking_table(session, choices, found[1] if found else None)
        with self._lock:
            self._kept[key] = (mark, table)
            self._kept.move_to_end(key)
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        return table

    def close(self) -> None:
        self._watch.close()

"""Splits ids and hashes into batches, because SQLite limits the number of values in one statement."""

from collections.abc import Iterable, Iterator
from typing import TypeVar

_Key = TypeVar("_Key", int, str)
BATCH_SIZE = 500


def in_batches(keys: Iterable[_Key]) -> Iterator[list[_Key]]:
    """The keys in rising order, at most BATCH_SIZE at a time.

    >>> [len(batch) for batch in in_batches(range(1200))]
    [500, 500, 200]
    """
    ordered = sorted(set(keys))
    return (ordered[start : start + BATCH_SIZE] for start in range(0, len(ordered), BATCH_SIZE))

"""Splits ids into batches, because SQLite limits the number of values in one statement."""

from collections.abc import Iterable, Iterator

BATCH_SIZE = 500


def in_batches(ids: Iterable[int]) -> Iterator[list[int]]:
    """The ids in rising order, at most LOT at a time.

    >>> [len(lot) for lot in in_batches(range(1200))]
    [500, 500, 200]
    """
    ordered = sorted(set(ids))
    return (ordered[start : start + BATCH_SIZE] for start in range(0, len(ordered), BATCH_SIZE))

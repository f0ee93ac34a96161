"""Moves labels at the ends of curves apart so that none overlap."""

from collections.abc import Sequence


def spaced(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Positions as close as possible to the wanted ones, in the same order, at least `gap` apart, from low to high.

    Overlapping labels move as one block to the mean of their wanted positions (pool adjacent violators, the least
    squares solution). If the space is too small, the gap shrinks evenly.

    >>> spaced([10.0, 10.0, 50.0], 6.0, 0.0, 100.0)
    [7.0, 13.0, 50.0]
    >>> spaced([99.0, 98.0], 6.0, 0.0, 100.0)
    [100.0, 94.0]
    """
    if not wanted:
        return []
    gap = min(gap, (high - low) / max(len(wanted) - 1, 1))
    order = sorted(range(len(wanted)), key=lambda index: (wanted[index], index))
    # with i gaps subtracted, "at least a gap apart" becomes "non-decreasing"
    blocks: list[tuple[float, int]] = []  # mean, number
    for place, index in enumerate(order):
        mean, number = wanted[index] - place * gap, 1
        while blocks and blocks[-1][0] > mean:
            before, count = blocks.pop()
            mean = (before * count + mean * number) / (count + number)
            number += count
        blocks.append((mean, number))
    top = high - (len(wanted) - 1) * gap
    falling_free = [min(max(mean, low), top) for mean, number in blocks for _ in range(number)]
    places = [0.0] * len(wanted)
    for place, index in enumerate(order):
        places[index] = falling_free[place] + place * gap
    return places

"""Spaces labels along a margin: as close to their curves as possible, never overlapping."""

from collections.abc import Sequence


def spaced(wanted: Sequence[float], heights: Sequence[float], low: float, high: float) -> list[float]:
    """Middles of labels of the given heights, as close as possible to the wanted ones, in the same order, between two
    ends. The heights must fit: their sum is at most `high - low`.

    Overlapping labels move as one block to the mean of what they want (pool adjacent violators, the least squares
    solution).

    >>> spaced([10.0, 10.0, 50.0], [6.0, 6.0, 6.0], 0.0, 100.0)
    [7.0, 13.0, 50.0]
    >>> spaced([99.0, 98.0], [6.0, 6.0], 0.0, 100.0)
    [97.0, 91.0]
    """
    order = sorted(range(len(wanted)), key=lambda index: (wanted[index], index))
    before: list[float] = []  # height of the labels before each, with half its own
    total = 0.0
    for index in order:
        before.append(total + heights[index] / 2)
        total += heights[index]
    # less what is before it, "not overlapping" becomes "non-decreasing"
    blocks: list[tuple[float, int]] = []  # mean, number
    for index, offset in zip(order, before, strict=True):
        mean, number = wanted[index] - offset, 1
        while blocks and blocks[-1][0] > mean:
            earlier, count = blocks.pop()
            mean = (earlier * count + mean * number) / (count + number)
            number += count
        blocks.append((mean, number))
    free = [min(max(mean, low), max(high - total, low)) for mean, number in blocks for _ in range(number)]
    places = [0.0] * len(wanted)
    for index, offset, start in zip(order, before, free, strict=True):
        places[index] = start + offset
    return places


def that_fit(heights: Sequence[float], room: float) -> list[int]:
    """Indexes of the first labels that fit together.

    >>> that_fit([10.0, 20.0, 5.0], 16.0)
    [0, 2]
    """
    fitting, used = [], 0.0
    for index, height in enumerate(heights):
        if used + height <= room:
            fitting.append(index)
            used += height
    return fitting

"""Path data of an SVG in tenths of a pixel, as short as it gets."""

import math
from collections.abc import Iterable

import numpy as np

from app.figures.layout.boxes import Box

Point = tuple[float, float]
_FAR = 10**7  # tenths of a pixel: more than any move
_OFF_PX = 0.1  # how far a line may pass from a place that is left out: what no screen shows


def path_of(points: Iterable[Point]) -> str:
    """A line in tenths of a pixel, each place relative to the one before.

    >>> path_of([(1.0, 2.0), (2.04, 1.96), (2.04, 1.96), (2.5, 3.0)])
    'M1 2l1 0l.5 1'
    """
    return _relative(_thinned(list(points)), "l", "")


def _thinned(points: list[Point]) -> list[Point]:
    """The places that a line needs to pass all others within a tenth of a pixel: from each place kept, the next is the
    last one whose direction all places in between allow.

    >>> _thinned([(0.0, 0.0), (1.0, 0.05), (2.0, 0.0), (3.0, 0.0), (4.0, 3.0)])
    [(0.0, 0.0), (3.0, 0.0), (4.0, 3.0)]
    """
    if len(points) < 3:
        return points
    kept, before = [points[0]], points[0]
    steepest, flattest = math.inf, -math.inf
    for at in points[1:]:
        across, down = at[0] - kept[-1][0], at[1] - kept[-1][1]
        goes_on = across * (before[0] - kept[-1][0]) > 0 and flattest <= down / across <= steepest
        if before is not kept[-1] and not goes_on:
            kept.append(before)
            across, down = at[0] - before[0], at[1] - before[1]
            steepest, flattest = math.inf, -math.inf
        if across:
            room = _OFF_PX / abs(across)
            steepest, flattest = min(steepest, down / across + room), max(flattest, down / across - room)
        before = at
    return [*kept, before]


def dots(points: Iterable[Point]) -> str:
    """A dot at each place, which a round end of the line draws.

    >>> dots([(1.0, 2.0), (2.0, 1.5)])
    'M1 2h0m1-.5h0'
    """
    return _relative(points, "m", "h0")


def _relative(points: Iterable[Point], step: str, mark: str) -> str:
    at = np.rint(10 * np.array(list(points), dtype=float).reshape(-1, 2)).astype(int)
    if not len(at):
        return ""
    moves = np.diff(at, axis=0)
    moves = moves[moves.any(axis=1)]
    # dots of many readings repeat a few hundred moves: each is worded once
    _, where, which = np.unique(moves @ (_FAR, 1), return_index=True, return_inverse=True)
    words = [f"{step}{_move(across, down)}{mark}" for across, down in moves[where].tolist()]
    first = f"M{_tenths(int(at[0, 0]))} {_tenths(int(at[0, 1]))}{mark}"
    return first + "".join([words[place] for place in which.tolist()])


def _move(across: int, down: int) -> str:
    right, below = _tenths(across), _tenths(down)
    return f"{right}{below}" if below.startswith("-") else f"{right} {below}"


def box_path(box: Box) -> str:
    return f"M{px(box.x0)} {px(box.y0)}H{px(box.x1)}V{px(box.y1)}H{px(box.x0)}z"


def px(number: float) -> str:
    return _tenths(round(10 * number))


def _tenths(tenths: int) -> str:
    """
    >>> _tenths(423), _tenths(-5), _tenths(2980), _tenths(0)
    ('42.3', '-.5', '298', '0')
    """
    sign, (whole, rest) = "-" if tenths < 0 else "", divmod(abs(tenths), 10)
    if not rest:
        return f"{sign}{whole}"
    return f"{sign}{whole or ''}.{rest}"

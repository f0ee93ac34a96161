"""Which parts of the canvas are covered by data: a raster of small cells, so that any kind of drawing counts alike."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.figures.layout.boxes import Box

CELL = 2.0  # px
Points = Sequence[tuple[float, float]] | np.ndarray


@lru_cache
def _disc(reach: int) -> NDArray[np.int_]:
    """Cells of a disc around the origin: across, down."""
    return np.array(
        [
            (across, down)
            for down in range(-reach, reach + 1)
            for across in range(-reach, reach + 1)
            if (abs(down) - 0.5) ** 2 + (abs(across) - 0.5) ** 2 <= (reach + 0.5) ** 2
        ]
    )


class InkMap:
    """Cells of the canvas that some drawing covers. `seal` prepares it for questions."""

    def __init__(self, width: float, height: float) -> None:
        self.rows, self.columns = int(height / CELL) + 2, int(width / CELL) + 2
        self.cells = np.zeros((self.rows, self.columns), dtype=bool)
        self.sums: Any = None

    def add_points(self, points: Points, radius: float) -> None:
        """Discs, as squares of cells."""
        if not len(points):
            return
        disc = _disc(int(np.ceil(radius / CELL)))
        at = np.floor(np.asarray(points, dtype=float) / CELL).astype(int)
        if len(at) > 1:
            at = at[np.append(True, (at[1:] != at[:-1]).any(axis=1))]  # neighbours along a line share a cell
        columns, rows = (at[:, None] + disc).reshape(-1, 2).T
        within = (columns >= 0) & (columns < self.columns) & (rows >= 0) & (rows < self.rows)
        self.cells[rows[within], columns[within]] = True

    def add_line(self, points: Points, half_width: float = 1.5) -> None:
        """A line through the points, sampled at every cell it crosses."""
        if len(points) < 2:
            self.add_points(points, half_width)
            return
        at = np.asarray(points, dtype=float)
        # far outside the canvas nothing is seen, and the number of samples must stay bounded
        at = np.clip(at, -50.0, [self.columns * CELL + 50.0, self.rows * CELL + 50.0])
        steps = np.abs(np.diff(at, axis=0)).max(axis=1)
        counts = np.maximum(np.ceil(steps / (0.75 * CELL)).astype(int), 1)
        which = np.repeat(np.arange(len(counts)), counts)
        within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        shares = (within / counts[which])[:, None]
        sampled = at[which] + shares * (at[which + 1] - at[which])
        self.add_points(np.vstack((sampled, at[-1])), half_width)

    def add_box(self, box: Box) -> None:
        rows = slice(max(int(box.y0 / CELL), 0), max(int(np.ceil(box.y1 / CELL)), 0))
        self.cells[rows, max(int(box.x0 / CELL), 0) : max(int(np.ceil(box.x1 / CELL)), 0)] = True

    def add_band(self, lower: Points, upper: Points) -> None:
        """The area between two lines over the same x."""
        if len(lower) < 2:
            return
        below, above = np.asarray(lower), np.asarray(upper)
        columns = np.arange(max(int(below[0, 0] / CELL), 0), min(int(below[-1, 0] / CELL) + 1, self.columns))
        sides = [np.interp((columns + 0.5) * CELL, side[:, 0], side[:, 1]) / CELL for side in (below, above)]
        first, last = np.minimum(*sides).astype(int), np.maximum(*sides).astype(int)
        rows = np.arange(self.rows)[:, None]
        self.cells[:, columns] |= (rows >= first) & (rows <= last)

    def copy(self) -> "InkMap":
        """A map of its own with the same drawings, which others can be added to."""
        other = InkMap(0, 0)
        other.rows, other.columns, other.cells = self.rows, self.columns, self.cells.copy()
        return other

    def seal(self) -> None:
        self.sums = np.zeros((self.rows + 1, self.columns + 1), dtype=np.int32)
        self.sums[1:, 1:] = self.cells.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)

    def are_free(self, edges: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether no drawing lies in each of some boxes, given as columns: left, top, right and bottom edge."""
        left, top, right, bottom = (edges / CELL).astype(int)
        left, right = (np.minimum(np.maximum(edge, 0), self.columns) for edge in (left, right + 1))
        top, bottom = (np.minimum(np.maximum(edge, 0), self.rows) for edge in (top, bottom + 1))
        sums = self.sums
        covered = sums[bottom, right] - sums[top, right] - sums[bottom, left] + sums[top, left]
        result: NDArray[np.bool_] = (right <= left) | (bottom <= top) | (covered == 0)
        return result

    def crossings(self, start: tuple[float, float], end: tuple[float, float], skip: float) -> bool:
        """Whether a line crosses a drawing further than `skip` px from its start."""
        (x0, y0), (x1, y1) = start, end
        length = max(abs(x1 - x0), abs(y1 - y0), 1e-9)
        cells = self.cells
        for step in range(int(skip), int(length) + 1):  # most lines end at one of the first drawings
            share = step / length
            column, row = int((x0 + (x1 - x0) * share) / CELL), int((y0 + (y1 - y0) * share) / CELL)
            if 0 <= column < self.columns and 0 <= row < self.rows and cells[row, column]:
                return True
        return False


def free_of(boxes: Iterable[Box], box: Box) -> bool:
    """Whether no box is closer than three pixels."""
    return not any(box.overlaps(other, 3.0) for other in boxes)

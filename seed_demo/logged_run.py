"""A run as recorded by a logger, before it is written in that logger's layout."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class LoggedRun:
    """Readings by channel name of the bench, in the bench's units; not-a-number for a missing value.

    started_at : time of the logger's clock at elapsed zero, with its zone
    rows_lost : row numbers that are missing (a gap)
    faults : row number and channel to the text written instead of a number
    last_row_cut : the last row is incomplete, as after a flat battery
    """

    started_at: datetime
    elapsed_s: NDArray[np.float64]
    levels: dict[str, NDArray[np.float64]]
    rows_lost: frozenset[int] = frozenset()
    faults: dict[tuple[int, str], str] | None = None
    last_row_cut: bool = False

    def rows(self) -> list[int]:
        """Numbers of the rows that were written."""
        return [row for row in range(len(self.elapsed_s)) if row not in self.rows_lost]

    def time(self, row: int) -> datetime:
        return self.started_at + timedelta(seconds=float(self.elapsed_s[row]))

    def cells(self, channel: str, decimals: int, factor: float = 1.0, offset: float = 0.0) -> list[str]:
        """Texts of one column, `level * factor + offset`, for every row; a fault is written as it is."""
        levels = (self.levels[channel] * factor + offset).tolist()  # Python's own numbers are written faster
        texts = ["" if level != level else f"{level:.{decimals}f}" for level in levels]
        for (row, of_channel), text in (self.faults or {}).items():
            if of_channel == channel:
                texts[row] = text
        return texts

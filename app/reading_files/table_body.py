"""The lines below the header into columns, by one pass of pandas over text that was made regular first."""

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from app.reading_files.line_fields import SPACES
from app.reading_files.log_table import SkippedRow

if TYPE_CHECKING:
    import pandas as pd

SPARE_FIELDS = 8  # a row may have this many fields more than the header before it counts as junk
CUT_ROWS_SHARE = 0.05  # fewer short rows than this are cut-off rows; more are how the logger writes


@dataclass(slots=True)
class TableBody:
    """The rows as a frame whose column labels are the positions in the file.

    lines : line number in the file of each row
    """

    frame: "pd.DataFrame"
    lines: NDArray[np.int64]
    skipped: list[SkippedRow]


def read_body(
    lines: list[str],
    first_line: int,
    delimiter: str,
    decimal_mark: str,
    header_fields: int,
    positions: list[int],
    text_positions: set[int],
    last_line_ends: bool,
) -> TableBody:
    """Rows from `lines`, the first of which has the number `first_line` in the file.

    positions : columns that are wanted; text_positions : those kept as text (times, boxes)
    """
    import pandas as pd  # loaded when used

    lines, skipped = _regular_lines(lines, first_line, delimiter, header_fields, last_line_ends)
    width = max(positions) + 1
    if delimiter != SPACES:
        most = max((line.count(delimiter) for line in lines), default=0) + 1
        width = max(width, most)
    else:
        width = max(width, max((len(line.split()) for line in lines), default=0))
    options = {"sep": delimiter} if delimiter != SPACES else {"sep": r"\s+"}
    frame = pd.read_csv(
        io.StringIO("\n".join(lines) + "\n"),
        header=None,
        names=range(width),
        usecols=sorted(set(positions)),
        index_col=False,
        dtype=dict.fromkeys(text_positions, str),
        decimal=decimal_mark,
        keep_default_na=False,
        na_values=[""],
        skip_blank_lines=False,
        skipinitialspace=True,
        low_memory=False,
        engine="c",
        **options,
    )
    return TableBody(frame, np.arange(first_line, first_line + len(frame)), skipped)


def _regular_lines(
    lines: list[str], first_line: int, delimiter: str, header_fields: int, last_line_ends: bool
) -> tuple[list[str], list[SkippedRow]]:
    """The lines with what would break the pass emptied: unclosed quotes, far too many fields, cut-off rows."""
    skipped: list[SkippedRow] = []
    changed = lines

    def drop(index: int, reason: str) -> None:
        nonlocal changed
        if changed is lines:
            changed = list(lines)
        skipped.append(SkippedRow(first_line + index, lines[index][:200], reason))
        changed[index] = ""

    if any('"' in line for line in lines):
        for index, line in enumerate(lines):
            if line.count('"') % 2:
                drop(index, "a quotation mark is not closed: the row is cut off")
    if delimiter == SPACES or not lines:
        return _never_empty(changed), skipped
    fields = np.fromiter((line.count(delimiter) for line in changed), dtype=np.int64, count=len(changed)) + 1
    usual = int(np.bincount(np.minimum(fields, 100_000)).argmax())
    for index in np.flatnonzero(fields > max(usual, header_fields) + SPARE_FIELDS):
        if '"' not in lines[index]:
            drop(int(index), f"{fields[index]} fields where the table has {usual}")
    short = np.flatnonzero(fields < usual)
    filled = [int(index) for index in short if changed[index].strip()]
    if len(filled) <= max(1, CUT_ROWS_SHARE * len(lines)):
        for index in filled:
            # a row of text ends up among the rows without a time; this is for rows that begin as readings do
            if changed[index].lstrip(' "')[:1].isdigit() and '"' not in changed[index]:
                drop(index, f"{fields[index]} of {usual} fields: the row is cut off")
    elif filled and filled[-1] == len(lines) - 1 and not last_line_ends:
        drop(filled[-1], f"{fields[filled[-1]]} of {usual} fields: the last row is half written")
    return _never_empty(changed), skipped


def _never_empty(lines: list[str]) -> list[str]:
    return lines or [""]

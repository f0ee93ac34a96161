"""The cells of a table that hold text instead of a number, for the account of what was read."""

import numpy as np
from numpy.typing import NDArray

from app.reading_files.log_table import SkippedRow
from app.reading_files.refusals import quoted
from app.reading_files.table.segment import Segment, Source
from app.reading_files.text.number_text import why_no_number

MOST_LISTED = 1000


def describe_unreadable(segment: Segment, rows: NDArray[np.bool_], source: Source) -> tuple[list[SkippedRow], int]:
    """One entry a row for cells that hold no number, with line, text and reason; and how many cells there are.

    rows : which rows of the table belong to the box that is read
    """
    headers = {column.channel: column.header for column in segment.columns if column.channel}
    by_row: dict[int, list[tuple[str, str]]] = {}
    for name, cells in segment.unreadable.items():
        for row, text in cells.items():
            if rows[row]:
                by_row.setdefault(row, []).append((name, text))
    described = []
    for row in sorted(by_row)[:MOST_LISTED]:
        name, text = by_row[row][0]
        more = f" (and {len(by_row[row]) - 1} more in this row)" if len(by_row[row]) > 1 else ""
        line = int(segment.line[row])
        reason = f"{quoted(headers.get(name, name))}: {why_no_number(text)}{more}"
        described.append(SkippedRow(line, source.lines[line - 1][:200], reason))
    return described, sum(map(len, by_row.values()))

"""Rows of a table in which no time was found: the header again, another header, notes of the logger, junk."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from app.reading_files.headers.search import Header, could_be_header, find_header
from app.reading_files.log_table import SkippedRow
from app.reading_files.refusals import quoted
from app.reading_files.text.line_fields import split_line

ROWS_CHECKED = 20_000
MOST_LISTED = 1000
MOST_LATER_HEADERS = 50


@dataclass(slots=True)
class RowsWithoutTime:
    """What became of the rows.

    count : how many are no blank lines
    listed : the first of them, with reasons
    later_headers : headers unlike the table's own: new tables begin there
    """

    count: int = 0
    listed: list[SkippedRow] = field(default_factory=list)
    later_headers: list[Header] = field(default_factory=list)


def account_for(
    row_lines: NDArray[np.int64], lines: list[str], delimiter: str, header: Header, time_column: str, stop: int
) -> RowsWithoutTime:
    """Why the rows have no time.

    row_lines : their line numbers, from 1
    """
    found = RowsWithoutTime()
    current = _folded(header.names)
    for checked, line in enumerate(row_lines):
        text = lines[line - 1]
        if not text.strip(' \t,;|"'):
            continue
        found.count += 1
        cells = split_line(text, delimiter) if checked < ROWS_CHECKED else []
        if cells and _folded(cells) == current:
            reason = "the header again"
        elif len([cell for cell in cells if cell]) > 1 and could_be_header(cells):
            reason = "a line of headers"
            later = find_header(lines[line - 1 : min(stop, line + 60)], delimiter)
            if later is not None and later.line == 0:
                current = _folded(cells)
                found.later_headers.append(
                    replace(later, line=int(line) - 1, first_row=later.first_row + int(line) - 1)
                )
        else:
            reason = f"no time in {quoted(time_column)}"
        if len(found.later_headers) == MOST_LATER_HEADERS:
            break  # the file is refused for it
        if len(found.listed) < MOST_LISTED:
            found.listed.append(SkippedRow(int(line), text[:200], reason))
    return found


def _folded(cells: list[str] | tuple[str, ...]) -> list[str]:
    return [cell.casefold() for cell in cells if cell and not cell.startswith("column ")]

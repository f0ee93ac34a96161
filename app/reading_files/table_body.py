"""The lines below the header into columns, by one pass of pandas over text that was made regular first."""

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from app.reading_files.line_fields import SPACES, split_line
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

    lines, most_fields, skipped = _regular_lines(lines, first_line, delimiter, header_fields, last_line_ends)
    width = max(max(positions) + 1, most_fields)
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
) -> tuple[list[str], int, list[SkippedRow]]:
    """The lines with what would break the pass emptied, and the most fields that one of them has.

    Emptied are rows with an unclosed quotation mark, with far too many fields, and rows that are cut off.
    """
    if not lines:
        return [""], 1, []
    if delimiter == SPACES:
        return lines, max(len(line.split()) for line in lines), []
    text = "\n".join(lines)
    fields = _delimiters_in_lines(text, delimiter) + 1
    usual = int(np.bincount(np.minimum(fields, 100_000)).argmax())
    reasons: dict[int, str] = {}
    too_many = max(usual, header_fields) + SPARE_FIELDS
    for index in np.flatnonzero(fields > too_many):
        exact = len(split_line(lines[index], delimiter)) if '"' in lines[index] else fields[index]
        if exact > too_many:
            reasons[int(index)] = f"{exact} fields where the table has {usual}"
    if '"' in text:
        for index, line in enumerate(lines):
            if line.count('"') % 2:
                reasons[index] = "a quotation mark is not closed: the row is cut off"
    reasons |= _cut_off(lines, fields, usual, delimiter, header_fields, last_line_ends)
    if not reasons:
        return lines, int(fields.max()), []
    regular = list(lines)
    for index in reasons:
        regular[index] = ""
        fields[index] = 1
    skipped = [SkippedRow(first_line + index, lines[index][:200], reasons[index]) for index in sorted(reasons)]
    return regular, int(fields.max()), skipped


def _delimiters_in_lines(text: str, delimiter: str) -> NDArray[np.int64]:
    """How often the delimiter stands in each line of the text."""
    raw = np.frombuffer(text.encode("utf-8", "replace"), dtype=np.uint8)
    ends = np.append(np.flatnonzero(raw == ord("\n")), len(raw))
    places = np.flatnonzero(raw == ord(delimiter))
    return np.diff(np.searchsorted(places, ends), prepend=0)


def _cut_off(
    lines: list[str], fields: NDArray[np.int64], usual: int, delimiter: str, header_fields: int, last_line_ends: bool
) -> dict[int, str]:
    """Rows that begin as readings do and end too early, unless the logger often writes short rows."""
    short = [int(index) for index in np.flatnonzero(fields < usual) if lines[index].strip()]
    if len(short) > max(1, CUT_ROWS_SHARE * len(lines)):
        short = [index for index in short if index == len(lines) - 1 and not last_line_ends]
    found = {}
    for index in short:
        exact = len(split_line(lines[index], delimiter)) if '"' in lines[index] else fields[index]
        if exact < min(usual, header_fields) and lines[index].lstrip(' "')[:1].isdigit():
            found[index] = f"{exact} of {usual} fields: the row is cut off"
    return found

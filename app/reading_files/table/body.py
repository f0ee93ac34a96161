"""Parses the lines below the header, with pandas, after normalising irregular lines."""

import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from app.reading_files.headers.channels import channel
from app.reading_files.headers.search import Header
from app.reading_files.headers.words import header_meaning
from app.reading_files.log_table import LogColumn, SkippedRow
from app.reading_files.refusals import refusal
from app.reading_files.text.digit_columns import first_fields
from app.reading_files.text.line_fields import SPACES, plain_text, split_line
from app.reading_files.text.number_text import number_in
from app.reading_files.text.unit_symbols import conversion, is_unit, shown_unit

if TYPE_CHECKING:
    import pandas as pd


_WHOLE = re.compile(r"\d+")
SMALLEST_SHARE = 0.5


def refuse_split_decimals(rows: list[list[str]], headers: int, file_name: str, line: int, text: str) -> None:
    """Raises UnreadableLog if most rows have more fields than the header, and all their numbers are whole.

    rows : first rows as fields; line, text : the first of them in the file
    """
    longer = [row for row in rows if len([field for field in row[headers:] if field])]
    if not rows or len(longer) < SMALLEST_SHARE * len(rows):
        return
    extra_are_whole = all(_WHOLE.fullmatch(field) for row in longer for field in row[headers:] if field)
    any_point = any(re.fullmatch(r"[-+]?\d*\.\d+", field) for row in rows for field in row)
    if extra_are_whole and not any_point:
        raise refusal(
            file_name,
            f"The row has {len(longer[0])} fields below {headers} headers; decimal commas in a comma-separated file "
            "look like this.",
            "Export the log with semicolons or tabs between the fields, or with decimal points.",
            line=line,
            text=text,
        )


_NAME_HEADER = re.compile(
    r"(?:param|parameters?|variable|channel|quantity|measurement|metric|pollutant|analyte|type|sensor|field|tag|item|"
    r"signal|name|kind|entity)(?:[\s_](?:id|name|type))?"
)
_VALUE_HEADER = re.compile(r"value|reading|result|wert|valeur|valor|measurement|sample measurement|level|state")
MOST_QUANTITIES = 60


@dataclass(frozen=True, slots=True)
class LongLayout:
    """Positions of the columns with the quantity's name, its value and its unit."""

    name: int
    value: int
    unit: int | None

    @property
    def text_positions(self) -> list[int]:
        """The columns with text."""
        return [place for place in (self.name, self.unit) if place is not None]


def find_long_layout(header: Header, cells: list[list[str]], decimal_mark: str) -> LongLayout | None:
    """The layout, if the table is long."""
    plain = [plain_text(name).strip(" _") for name in header.names]
    names = [
        place
        for place, name in enumerate(plain)
        if _NAME_HEADER.fullmatch(name) and any(header_meaning(cell).channel for cell in cells[place][:50])
    ]
    values = [
        place
        for place, name in enumerate(plain)
        if _VALUE_HEADER.fullmatch(name) and any(number_in(cell, decimal_mark) is not None for cell in cells[place])
    ]
    if not names or not values:
        return None
    units = [
        place
        for place, name in enumerate(plain)
        if name in ("unit", "units", "einheit", "unite") and any(is_unit(cell) for cell in cells[place])
    ]
    return LongLayout(names[0], values[0], units[0] if units else None)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of a long table: its column, and its rows."""

    column: LogColumn
    rows: "pd.Series"


def quantities(frame: "pd.DataFrame", layout: LongLayout, chosen: dict[str, str]) -> list[Quantity]:
    """The quantities named in the rows, as columns."""
    found: list[Quantity] = []
    taken: set[str] = set()
    texts = frame[layout.name].fillna("").astype(str).str.strip()
    units = frame[layout.unit].fillna("").astype(str).str.strip() if layout.unit is not None else None
    for text in list(dict.fromkeys(texts))[:MOST_QUANTITIES]:
        if not text:
            continue
        named = texts == text
        for unit in list(dict.fromkeys(units[named]))[:5] if units is not None else [""]:
            rows = named & (units == unit) if units is not None else named
            column = _column(layout, text, unit, taken, chosen, frame[layout.value][rows])
            found.append(Quantity(column, rows))
    return found


def _column(
    layout: LongLayout, text: str, unit: str, taken: set[str], chosen: dict[str, str], values: "pd.Series"
) -> LogColumn:
    first = tuple(str(value) for value in values.head(5))
    meaning = header_meaning(text, unit)
    name = chosen.get(text, meaning.channel)
    if not name:
        reason = "not used (by choice)" if text in chosen else meaning.reason
        return LogColumn(layout.value, text, None, "left out", unit, "", 1.0, 0.0, reason, first)
    taken.add(name)
    wanted = channel(name).unit
    turned = conversion(meaning.unit or wanted, wanted)
    reason = f"rows named “{text}”"
    if turned is None:
        own = shown_unit(meaning.unit)
        return LogColumn(layout.value, text, name, "channel", own, own, 1.0, 0.0, reason, first)
    shown = shown_unit(meaning.unit) if meaning.unit else ""
    return LogColumn(layout.value, text, name, "channel", shown, wanted, turned.factor, turned.offset, reason, first)


PLAIN_DELIMITER = "\x1f"  # the unit separator, which no logger writes
SPARE_FIELDS = 8  # a row with more extra fields than this is junk
# The parser reads outside its memory at an exponent of ten digits, which overflows its counter. Nine digits are beyond
# any number too.
_LONG_EXPONENT = re.compile(r"(?<=[\d.])([eE][-+]?)0*([1-9]\d{8})\d+")
CUT_ROWS_SHARE = 0.05  # fewer short rows than this are truncated rows; more are the logger's style


@dataclass(slots=True)
class TableBody:
    """The rows as a frame whose column labels are the positions in the file.

    lines : line number in the file of each row
    first_column : its texts where all are equally long; the frame then leaves it out
    """

    frame: "pd.DataFrame"
    lines: NDArray[np.int64]
    skipped: list[SkippedRow]
    first_column: NDArray[np.bytes_] | None = None


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

    positions : columns to read; text_positions : those kept as text (times, boxes)
    """
    regular = _regular_lines(lines, first_line, delimiter, header_fields, last_line_ends)
    first = None
    if regular.text is not None and text_positions == {0} and len(positions) > 1:
        # cutting times from the lines takes a quarter of the time that the parser needs to make their texts
        first = first_fields(lines, delimiter)
    asked = positions if first is None else [place for place in positions if place > 0]
    frame = _parsed(regular, delimiter, decimal_mark, asked, text_positions.intersection(asked))
    if frame is None:
        first = None
        plain = [PLAIN_DELIMITER.join(split_line(line, delimiter)).replace('"', "") for line in lines]
        delimiter = PLAIN_DELIMITER
        regular = _counted_lines(plain, first_line, delimiter, header_fields, last_line_ends)
        frame = _parsed(regular, delimiter, decimal_mark, positions, text_positions)
    assert frame is not None  # there are no quotation marks, and no row has more fields than counted
    return TableBody(frame, np.arange(first_line, first_line + len(frame)), regular.skipped, first)


@dataclass(frozen=True, slots=True)
class _RegularLines:
    """Lines that the parser can read, and the largest number of fields.

    text : the joined lines, if already done
    """

    lines: list[str]
    most_fields: int
    skipped: list[SkippedRow]
    text: str | None = None


def _parsed(
    regular: _RegularLines, delimiter: str, decimal_mark: str, positions: list[int], text_positions: set[int]
) -> "pd.DataFrame | None":
    """The rows as a frame; None if quotation marks or field counts confused the parser."""
    import pandas as pd  # loaded when used

    if delimiter == SPACES:
        return None  # the parser counts spaces differently: normalise the lines instead
    width = max(max(positions) + 1, regular.most_fields, 2)
    lines, text = regular.lines, regular.text
    if width > regular.most_fields:  # a header with more columns than any row
        lines = [lines[0] + delimiter * (width - 1 - lines[0].count(delimiter)), *lines[1:]]
        text = None
    if text is None:
        text = "\n".join(lines)
    if "e" in text or "E" in text:
        text = _LONG_EXPONENT.sub(r"\1\2", text)
    try:
        frame = pd.read_csv(
            io.BytesIO(text.encode("utf-8", "replace") + b"\n"),  # faster than text
            sep=delimiter,
            header=None,
            names=range(width),
            usecols=positions,
            index_col=False,
            dtype=dict.fromkeys(text_positions, str),
            decimal="." if decimal_mark == delimiter else decimal_mark,
            keep_default_na=False,
            na_values=[""],
            skip_blank_lines=False,
            skipinitialspace=True,
            low_memory=False,
            engine="c",
        )
    except pd.errors.ParserError:
        return None
    return frame if len(frame) == len(regular.lines) else None


def _regular_lines(
    lines: list[str], first_line: int, delimiter: str, header_fields: int, last_line_ends: bool
) -> _RegularLines:
    if not lines:
        return _RegularLines([""], 1, [])
    text = "\n".join(lines)
    if '"' not in text and text.count(delimiter) == lines[0].count(delimiter) * len(lines):
        # every row has as many fields as the first, or the parser reports one with more
        return _RegularLines(lines, lines[0].count(delimiter) + 1, [], text)
    return _counted_lines(lines, first_line, delimiter, header_fields, last_line_ends)


def _counted_lines(
    lines: list[str], first_line: int, delimiter: str, header_fields: int, last_line_ends: bool
) -> _RegularLines:
    """Counts fields, and empties lines with an unclosed quotation mark, far too many fields, or a truncated end."""
    if not lines:
        return _RegularLines([""], 1, [])
    fields = np.fromiter((line.count(delimiter) for line in lines), dtype=np.int64, count=len(lines)) + 1
    usual = int(np.bincount(np.minimum(fields, 100_000)).argmax())
    reasons: dict[int, str] = {}
    too_many = max(usual, header_fields) + SPARE_FIELDS
    for index in np.flatnonzero(fields > too_many).tolist():
        exact = len(split_line(lines[index], delimiter)) if '"' in lines[index] else int(fields[index])
        if exact > too_many:
            reasons[index] = f"{exact} fields instead of {usual}"
    for index, line in enumerate(lines):
        if '"' in line and line.count('"') % 2:
            reasons[index] = "unclosed quotation mark: the row is cut off"
    reasons = _cut_off(lines, fields, usual, delimiter, header_fields, last_line_ends) | reasons
    if not reasons:
        return _RegularLines(lines, int(fields.max()), [])
    regular = list(lines)
    for index in reasons:
        regular[index] = ""
        fields[index] = 1
    skipped = [SkippedRow(first_line + index, lines[index][:200], reasons[index]) for index in sorted(reasons)]
    return _RegularLines(regular, int(fields.max()), skipped)


def _cut_off(
    lines: list[str], fields: NDArray[np.int64], usual: int, delimiter: str, header_fields: int, last_line_ends: bool
) -> dict[int, str]:
    """Truncated rows, unless the logger often writes short rows."""
    short = [int(index) for index in np.flatnonzero(fields < usual) if lines[index].strip()]
    if len(short) > max(1, CUT_ROWS_SHARE * len(lines)):
        short = [index for index in short if index == len(lines) - 1 and not last_line_ends]
    found = {}
    for index in short:
        exact = len(split_line(lines[index], delimiter)) if '"' in lines[index] else fields[index]
        if exact < min(usual, header_fields) and lines[index].lstrip(' "')[:1].isdigit():
            found[index] = f"{exact} of {usual} fields: the row is cut off"
    return found

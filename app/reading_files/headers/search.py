"""Finds the table: the header line, a line of units, and the first row of readings."""

import re
from dataclasses import dataclass

from app.reading_files.headers.words import header_meaning
from app.reading_files.text.line_fields import SPACES, number_of_fields, plain_text, split_line
from app.reading_files.text.time_text import parse_times
from app.reading_files.text.unit_symbols import is_unit, seconds_in

LINES_SEARCHED = 2000
# Cells that the search looks at: enough for any logger, and for a wide table so many as its size allows. A cell takes
# up to some ten microseconds, so a search takes less than two seconds per megabyte, whatever the lines hold.
_CELLS_SEARCHED = 60_000
_CHARACTERS_PER_CELL = 12
_FEWEST_LINES = 5
_ROWS_BELOW = 8  # that are looked at below each line that could be a header
_LONGEST_CELL = 100  # of a number or time
TIME_WORDS = frozenset(
    [
        "time",
        "date",
        "timestamp",
        "datetime",
        "datum",
        "zeit",
        "uhrzeit",
        "heure",
        "fecha",
        "hora",
        "ora",
        "tid",
        "tijd",
        "clock",
        "elapsed",
        "seconds",
        "epoch",
        "unix",
        "recorded",
        "measured",
        "utc",
        "local",
        "runtime",
        "uptime",
        "dato",
        "data",
        "jour",
        "horodatage",
        "zeitstempel",
    ]
)
_NUMBER = re.compile(r"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?")
_TIME_LIKE = re.compile(
    r"\d{1,4}[-/.:]\d{1,2}(?:[-/.: T]\d.*)?|.*\d{1,2}:\d{2}.*|\d{1,2}[- ]?[A-Za-z]{3}[- ]?\d{2,4}.*"
    r"|\d{8}[T_ ]\d{4,6}(?:\D.*)?"
)


# a setting of the logger in the lines above a table, such as "Factor C = ---", and no name of a column
_SETTING = re.compile(r"\s=\s|=\s*-{2,}")


@dataclass(frozen=True, slots=True)
class Header:
    """The header of a table; indices count lines from 0.

    line : index of the header line, -1 if the table has none
    names : text of each header, made unique
    units : texts of the line of units below it, "" if there is none
    first_row : index of the first line below the header
    """

    line: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    first_row: int


def is_time_header(name: str) -> bool:
    """Whether a header names a time.

    >>> is_time_header("Date Time, GMT-06:00"), is_time_header("uploaded_at"), is_time_header("PM2.5")
    (True, True, False)
    """
    plain = plain_text(name)
    words = set(re.findall(r"[a-z]+", plain))
    return bool(words & TIME_WORDS) or re.search(r"(?:^|[a-z])_at$|time|^ts$|^t$|^date|^secs?$", plain) is not None


def looks_like_reading(cell: str) -> bool:
    """Whether a cell is a number or a time."""
    return cell.isdecimal() or (
        len(cell) <= _LONGEST_CELL and (_NUMBER.fullmatch(cell) is not None or _TIME_LIKE.fullmatch(cell) is not None)
    )


def find_header(lines: list[str], delimiter: str) -> Header | None:
    """The header of the first table in the lines; None if there is no table."""
    budget = max(_CELLS_SEARCHED, sum(map(len, lines)) // _CHARACTERS_PER_CELL)
    lines = lines[: _lines_to_search(lines, delimiter, budget)]
    best: tuple[int, Header] | None = None
    for index in range(len(lines)):
        if best is not None and index > best[1].line + 20:
            break
        if best is not None and lines[index].lstrip(' "')[:1].isdigit():
            continue
        cells = split_line(lines[index], delimiter)
        if len([cell for cell in cells if cell]) < 2 or not could_be_header(cells):
            continue
        budget -= _ROWS_BELOW * len(cells)
        if budget < 0:
            break
        header = _with_units(index, cells, lines, delimiter)
        if header is None:
            continue
        known = sum(header_meaning(cell).channel is not None for cell in cells[:500])
        if best is None or known > _known(best[1]):
            best = (index, header)
    return best[1] if best else _by_structure(lines, delimiter)


def header_at(lines: list[str], delimiter: str, line: int) -> Header | None:
    """The header at a line that a person chose, with the line of units below or above it; None without two names.

    >>> header_at(["Station 7, roof", "when,haze", "2026-01-05 10:00,3"], ",", 1).names
    ('when', 'haze')
    """
    found = find_header(lines, delimiter)
    if found is not None and found.line == line:
        return found
    cells = split_line(lines[line], delimiter) if line < len(lines) else []
    if len([cell for cell in cells if cell]) < 2:
        return None
    names = _unlike(_grouped(cells, line, lines, delimiter))
    below = next((index for index in range(line + 1, len(lines)) if lines[index].strip()), len(lines))
    row = split_line(lines[below], delimiter) if below < len(lines) else []
    if _is_units_row(row):
        return Header(line, names, _padded(row, len(names)), below + 1)
    above = split_line(lines[line - 1], delimiter) if line else []
    units = above if len(above) == len(cells) and _is_units_row(above) else []
    return Header(line, names, _padded(units, len(names)), line + 1)


def _lines_to_search(lines: list[str], delimiter: str, budget: int) -> int:
    """How many lines are searched: fewer where they have many cells, so that the time follows the size of the file."""
    first = lines[:LINES_SEARCHED]
    text = "\n".join(first)
    if delimiter != SPACES and '"' not in text and text.count(delimiter) + len(first) <= budget:
        return LINES_SEARCHED
    cells = 0
    for index, line in enumerate(first):
        cells += number_of_fields(line, delimiter)
        if cells > budget:
            return max(index, _FEWEST_LINES)
    return LINES_SEARCHED


def _known(header: Header) -> int:
    return sum(header_meaning(name).channel is not None for name in header.names[:500])


def could_be_header(cells: list[str]) -> bool:
    """Whether the cells contain a word for time and mostly words; a header may also be a size such as 11.5.

    >>> could_be_header(["Date Time", "11.5", "15.4"]), could_be_header(["2026-01-05 10:00", "time", "3"])
    (True, False)
    >>> could_be_header(["Time constant = 1 s", "PM2.5 Factor C = ---"])
    False
    """
    filled = [cell for cell in cells if cell and not cell.isdecimal() and len(cell) <= _LONGEST_CELL]
    if any(_SETTING.search(cell) for cell in filled):
        return False
    times = [cell for cell in filled if len(cell) <= 60 and is_time_header(cell) and not _TIME_LIKE.fullmatch(cell)]
    dates = [cell for cell in filled if _TIME_LIKE.fullmatch(cell) and not _NUMBER.fullmatch(cell)]
    return bool(times) and not dates


def _with_units(index: int, cells: list[str], lines: list[str], delimiter: str) -> Header | None:
    """The header at this line, if the rows below have times in its time column."""
    places = [place for place, cell in enumerate(cells) if is_time_header(cell)]
    units: list[str] = []
    first_row = index + 1
    looked = 0
    for following in range(index + 1, min(len(lines), index + 40)):
        if not lines[following].strip():
            continue
        row = split_line(lines[following], delimiter)
        looked += 1
        if looked <= 3 and not units and _is_units_row(row):
            units = row
            first_row = following + 1
            continue
        if any(place < len(row) and looks_like_reading(row[place]) for place in places):
            names = _unlike(_grouped(cells, index, lines, delimiter))
            above = split_line(lines[index - 1], delimiter) if index and not units else []
            units = above if len(above) == len(cells) and _is_units_row(above) else units
            return Header(index, names, _padded(units, len(names)), first_row)
        if looked > 6:
            break
    return None


def _is_units_row(row: list[str]) -> bool:
    filled = [cell.strip("()[] ") for cell in row if cell]
    if not filled or max(map(len, filled)) > _LONGEST_CELL or any(looks_like_reading(cell) for cell in filled):
        return False
    units = sum(is_unit(cell) or seconds_in(cell) is not None for cell in filled)
    return units == len(filled) or (len(filled) > 1 and units >= max(1, len(filled) // 4))


def _padded(units: list[str], length: int) -> tuple[str, ...]:
    return tuple(unit.strip("()[] ") for unit in (*units, *[""] * length))[:length]


def _grouped(cells: list[str], index: int, lines: list[str], delimiter: str) -> list[str]:
    """Repeated headers with the group name from the line above: "Sensor A,,,Sensor B,,"."""
    if index == 0 or len(set(cells)) == len(cells):
        return cells
    above = split_line(lines[index - 1], delimiter)
    if len([cell for cell in above if cell]) < 2 or len(above) > len(cells) or any(map(looks_like_reading, above)):
        return cells
    group, named = "", []
    for place, cell in enumerate(cells):
        group = above[place] if place < len(above) and above[place] else group
        named.append(f"{group} {cell}".strip() if cells.count(cell) > 1 else cell)
    return named


def _unlike(cells: list[str]) -> tuple[str, ...]:
    """Makes headers unique: a second "PM2.5" becomes "PM2.5 (2)", an empty one "column 4"."""
    seen: dict[str, int] = {}
    names = []
    for place, cell in enumerate(cells):
        name = cell or f"column {place + 1}"
        seen[name] = seen.get(name, 0) + 1
        names.append(f"{name} ({seen[name]})" if seen[name] > 1 else name)
    return tuple(names)


def _by_structure(lines: list[str], delimiter: str) -> Header | None:
    """A table without a time header, or without a header: the first run of rows of one structure."""
    rows: list[tuple[int, list[str]]] = []
    for index in range(len(lines)):
        if lines[index].strip():
            rows.append((index, split_line(lines[index], delimiter)))
    for place, (index, row) in enumerate(rows):
        run = rows[place : place + 3]
        if not all(_is_data_row(cells) and len(cells) == len(row) for _, cells in run):
            continue
        if len(run) < 3 and not _holds_time(row):
            continue
        head, cells = rows[place - 1] if place else (-1, [])
        if len(cells) == len(row) and not _is_data_row(cells) and not any(map(_SETTING.search, cells)):
            return Header(head, _unlike(cells), ("",) * len(cells), index)
        if not _holds_time(row):
            continue  # numbers without a header cannot be identified
        return Header(-1, _unlike([""] * len(row)), ("",) * len(row), index)
    return None


def _is_data_row(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return len(filled) >= 2 and sum(map(looks_like_reading, filled)) > 0.5 * len(filled)


def _holds_time(row: list[str]) -> bool:
    like = [cell for cell in row if len(cell) <= _LONGEST_CELL and not cell.isdecimal() and _TIME_LIKE.fullmatch(cell)]
    return bool(like) and bool((parse_times(like).kind >= 0).any())

"""Reads any table (prices, settings, ratings) into rows of text, with the recognition used for logs.

For bulk entry: the first filled row contains the headers, every other one is an item. Numbers stay text;
`number_in` of `number_text` parses a cell with the file's decimal mark.
"""

from dataclasses import dataclass

from app.reading_files.refusals import quoted, refusal
from app.reading_files.text.decoding import decode_text, is_worksheet_file
from app.reading_files.text.line_fields import DELIMITER_NAMES, DELIMITERS, find_decimal_mark, split_line
from app.reading_files.text.worksheets import read_sheets

MOST_ROWS = 100_000
MOST_COLUMNS = 1000


@dataclass(frozen=True, slots=True)
class CellsRow:
    """One row: its line number in the file, from 1, and a cell for each header."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CellsTable:
    """A table as text.

    headers : header texts, each once
    header_line : line number of the headers
    sheet : name of the sheet, "" for a text file
    decimal_mark : "." or ","
    skipped : line and reason of rows that could not be read
    """

    file_name: str
    encoding: str
    delimiter: str
    decimal_mark: str
    sheet: str
    header_line: int
    headers: tuple[str, ...]
    rows: tuple[CellsRow, ...]
    skipped: tuple[tuple[int, str], ...]


def read_cells(content: bytes, file_name: str, sheet: str | None = None) -> CellsTable:
    r"""The table in a CSV, tab-separated or XLSX file; from a workbook the named sheet, or the first with cells.

    Raises UnreadableLog with file, line, text found and what is needed.

    >>> table = read_cells("unit;price\nHearth 3;199,90\n".encode(), "prices.csv")
    >>> table.headers, table.rows[0].cells, table.decimal_mark
    (('unit', 'price'), ('Hearth 3', '199,90'), ',')
    """
    if is_worksheet_file(content, file_name):
        sheets = read_sheets(content, file_name)
        chosen = next((one for one in sheets if one.name == sheet), None if sheet else sheets[0])
        if chosen is None:
            listed = ", ".join(quoted(one.name) for one in sheets)
            raise refusal(file_name, f"There is no sheet {quoted(sheet or '')}.", f"Choose one of the sheets {listed}.")
        return _table(chosen.lines, "\t", file_name, "workbook", chosen.name)
    decoded = decode_text(content)
    return _table(decoded.lines, _delimiter(decoded.lines), file_name, decoded.encoding, "")


def _delimiter(lines: list[str]) -> str:
    """The delimiter that splits the header into most fields; names and notes may contain commas and spaces."""
    header = next((line for line in lines if line.strip()), "")
    return max(DELIMITERS, key=lambda delimiter: len(split_line(header, delimiter)))


def _table(lines: list[str], delimiter: str, file_name: str, encoding: str, sheet: str) -> CellsTable:
    filled = [(index, split_line(line, delimiter)) for index, line in enumerate(lines) if line.strip(' \t,;|"')]
    if not filled:
        raise refusal(file_name, "The file has no cells.", "A header row and rows below it are required.")
    head, names = filled[0]
    while names and not names[-1]:
        names = names[:-1]
    folded = [name.casefold() for name in names]
    double = next((name for place, name in enumerate(names) if folded.index(name.casefold()) != place), None)
    problem = None
    if len(names) > MOST_COLUMNS or len(filled) > MOST_ROWS:
        problem = f"The table has {len(filled):,} rows and {len(names):,} columns."
        needed = f"At most {MOST_ROWS:,} rows and {MOST_COLUMNS:,} columns are read. Split the file."
    elif "" in names:
        problem = f"Column {names.index('') + 1} has no header."
        needed = "Give each column a header."
    elif double is not None:
        problem = f"The header {quoted(double)} occurs twice."
        needed = "Give each column a unique header."
    if problem is not None:
        raise refusal(file_name, problem, needed, line=head + 1, text=lines[head])
    rows, skipped = [], []
    for index, cells in filled[1:]:
        if any(cells[len(names) :]):
            skipped.append((index + 1, f"{len(cells)} cells but {len(names)} headers"))
        else:
            padded = [*cells, *[""] * len(names)][: len(names)]
            rows.append(CellsRow(index + 1, tuple(padded)))
    mark = find_decimal_mark([cell for row in rows[:500] for cell in row.cells], delimiter)
    shown = "worksheet" if sheet else DELIMITER_NAMES[delimiter]
    return CellsTable(file_name, encoding, shown, mark, sheet, head + 1, tuple(names), tuple(rows), tuple(skipped))

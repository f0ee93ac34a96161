"""Bulk entry from a CSV or XLSX table: a preview line by line, and the storing itself."""

from dataclasses import dataclass
from typing import Literal

from sqlalchemy.orm import Session

from app.errors import AlreadyStored, HazefallError, InvalidValue, StoreProblem
from app.reading_files.table.cells_table import CellsTable, read_cells
from app.services.bulk.columns import BulkRow, column_key
from app.services.bulk.kinds import BULK_KINDS, BulkKind
from app.services.store.audit import AT_THE_DESK

MOST_ROWS = 5000
Outcome = Literal["adds", "stored already", "refused"]


@dataclass(frozen=True, slots=True)
class BulkLine:
    """Result of one line of the file; `field` is the column with the error."""

    line: int
    outcome: Outcome
    words: str
    field: str = ""


@dataclass(frozen=True, slots=True)
class BulkResult:
    """A table read line by line.

    recognised, left_out : recognised and unknown headers
    stored : whether anything was stored
    """

    kind: BulkKind
    file_name: str
    sheet: str
    recognised: tuple[str, ...]
    left_out: tuple[str, ...]
    lines: tuple[BulkLine, ...]
    stored: bool

    def count(self, outcome: Outcome) -> int:
        return sum(line.outcome == outcome for line in self.lines)


def preview_bulk(
    session: Session, content: bytes, file_name: str, kind_name: str = "", *, sheet: str | None = None
) -> BulkResult:
    """Stores a table completely and rolls back, so that a line may refer to an earlier one.

    Raises UnreadableLog if the file is not a table, InvalidValue if its kind or a needed column is missing.
    """
    return _run(session, content, file_name, kind_name, sheet, AT_THE_DESK, keep=False, leave_out_refused=True)


def store_bulk(
    session: Session,
    content: bytes,
    file_name: str,
    kind_name: str = "",
    *,
    sheet: str | None = None,
    leave_out_refused: bool = False,
    who: str = AT_THE_DESK,
) -> BulkResult:
    """Stores a table: every line, or, with `leave_out_refused`, every valid line.

    Raises InvalidValue for an invalid line without `leave_out_refused`; nothing is stored then.
    """
    return _run(session, content, file_name, kind_name, sheet, who, keep=True, leave_out_refused=leave_out_refused)


def kind_of_table(table: CellsTable) -> BulkKind:
    """The kind whose identifying columns are all present; of several, the one that knows most of the headers."""
    keys = {column_key(header) for header in table.headers}
    named = column_key(table.sheet)
    fitting = [kind for kind in BULK_KINDS.values() if set(kind.identifying_columns) <= keys]
    if not fitting:
        raise InvalidValue(
            f"{table.file_name} has the columns {', '.join(table.headers)}; they do not match any table type. Choose "
            "the type, or use the headers from its empty table.",
            field="kind",
        )
    return max(fitting, key=lambda kind: (kind.name == named, sum(c.column in keys for c in kind.columns)))


def empty_table(kind_name: str) -> str:
    """The headers of a kind as CSV, to be filled in."""
    return ",".join(column.column for column in _kind(kind_name).columns) + "\r\n"


def _run(
    session: Session,
    content: bytes,
    file_name: str,
    kind_name: str,
    sheet: str | None,
    who: str,
    *,
    keep: bool,
    leave_out_refused: bool,
) -> BulkResult:
    table = read_cells(content, file_name, sheet)
    kind = _kind(kind_name) if kind_name else kind_of_table(table)
    places, recognised, left_out = _columns(table, kind)
    if len(table.rows) > MOST_ROWS:
        raise InvalidValue(
            f"{file_name} has {len(table.rows)} rows; at most {MOST_ROWS} can be imported at once. Split the table.",
            field="table",
        )
    savepoint = session.begin_nested()
    lines = [BulkLine(line, "refused", reason) for line, reason in table.skipped]
    for row in table.rows:
        cells = {name: row.cells[place].strip() for name, place in places.items() if row.cells[place].strip()}
        lines.append(_apply(session, kind, BulkRow(row.line, cells, table.decimal_mark), who))
    lines.sort(key=lambda line: line.line)
    result = BulkResult(kind, file_name, table.sheet, recognised, left_out, tuple(lines), keep)
    refused = result.count("refused")
    if keep and (leave_out_refused or not refused):
        savepoint.commit()
        return result
    savepoint.rollback()
    if keep:
        first = next(line for line in lines if line.outcome == "refused")
        raise InvalidValue(
            f"{refused} of {len(lines)} rows are rejected, the first in line {first.line}: {first.words} Nothing was "
            "saved. Correct them, or choose to skip them.",
            field="table",
        )
    return result


def _apply(session: Session, kind: BulkKind, row: BulkRow, who: str) -> BulkLine:
    """Applies one row in its own savepoint, so that an invalid one leaves nothing behind."""
    missing = [name for name in kind.needed if name not in row.cells]
    if missing:
        words = next(column.table_words for column in kind.columns if column.column == missing[0])
        return BulkLine(row.line, "refused", f"{missing[0]} is empty but required: {words}.", missing[0])
    try:
        with session.begin_nested():
            return BulkLine(row.line, "adds", kind.apply(session, row, who))
    except StoreProblem:
        raise
    except AlreadyStored as error:
        return BulkLine(row.line, "stored already", error.message, error.field or "")
    except HazefallError as error:
        return BulkLine(row.line, "refused", error.message, error.field or "")


def _kind(name: str) -> BulkKind:
    if name not in BULK_KINDS:
        raise InvalidValue(f"The table type is {name!r}; choose one of: {', '.join(BULK_KINDS)}.", field="kind")
    return BULK_KINDS[name]


def _columns(table: CellsTable, kind: BulkKind) -> tuple[dict[str, int], tuple[str, ...], tuple[str, ...]]:
    known = {column.column for column in kind.columns}
    places: dict[str, int] = {}
    recognised, left_out = [], []
    for place, header in enumerate(table.headers):
        key = column_key(header)
        if key in known and key not in places:
            places[key] = place
            recognised.append(header)
        else:
            left_out.append(header)
    missing = [name for name in kind.needed if name not in places]
    if missing:
        raise InvalidValue(
            f"{table.file_name}, line {table.header_line}: the column {missing[0]} is missing for "
            f"{kind.words.lower()}; the headers are {', '.join(table.headers)}. Add it, or choose another type.",
            field="table",
        )
    return places, tuple(recognised), tuple(left_out)

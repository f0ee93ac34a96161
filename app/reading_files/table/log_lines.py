"""The lines of a log, from text or from a sheet of a workbook, before parsing."""

from dataclasses import dataclass

from app.reading_files.headers.search import find_header
from app.reading_files.refusals import SeveralBoxes, quoted, refusal, where
from app.reading_files.text.decoding import decode_text, is_worksheet_file
from app.reading_files.text.line_fields import find_delimiter
from app.reading_files.text.worksheets import Sheet, read_sheets

LONGEST_LINE = 1_000_000  # characters; the widest table that is read has ten thousand columns
MOST_LINES = 5_000_000  # eight weeks at one reading per second; each takes some hundred bytes of memory


@dataclass(frozen=True, slots=True)
class LogLines:
    """Lines of one log; line numbers start at 1 for lines[0].

    sheets : names of the sheets with a table; empty for text
    sheet : the selected one
    """

    lines: list[str]
    encoding: str
    delimiter: str
    last_line_ends: bool
    sheets: tuple[str, ...]
    sheet: str | None
    notes: tuple[str, ...]


def open_lines(content: bytes, file_name: str, box: str | None) -> LogLines:
    """The lines of the file; from a workbook, those of the sheet of the box, or of the only one with a table."""
    if is_worksheet_file(content, file_name):
        return _from_workbook(read_sheets(content, file_name), file_name, box)
    # a file has no more lines than bytes
    lines = max(content.count(b"\n"), content.count(b"\r")) if len(content) > MOST_LINES else 0
    if lines > MOST_LINES:
        raise refusal(
            file_name,
            f"The file has {lines:,} lines; at most {MOST_LINES:,} are read.",
            "Cut the log to the hours of the trial.",
        )
    decoded = decode_text(content)
    if len(content) > LONGEST_LINE and max(map(len, decoded.lines), default=0) > LONGEST_LINE:
        longest = max(range(len(decoded.lines)), key=lambda index: len(decoded.lines[index]))
        raise refusal(
            file_name,
            f"The line has {len(decoded.lines[longest]):,} characters; at most {LONGEST_LINE:,} are read.",
            "A table with one line per time is required.",
            line=longest + 1,
            text=decoded.lines[longest][:80],
        )
    delimiter = find_delimiter(decoded.lines)
    if delimiter is None:
        first = next((index for index, line in enumerate(decoded.lines) if line.strip()), 0)
        raise refusal(
            file_name,
            "No table was found: the lines have no separate fields.",
            "Fields separated by comma, semicolon, tab or bar are required, one of them with the time.",
            line=first + 1,
            text=decoded.lines[first],
        )
    return LogLines(decoded.lines, decoded.encoding, delimiter, decoded.last_line_ends, (), None, decoded.notes)


def _from_workbook(sheets: list[Sheet], file_name: str, box: str | None) -> LogLines:
    tables = [sheet for sheet in sheets if find_header(sheet.lines, "\t") is not None] or sheets[:1]
    names = tuple(sheet.name for sheet in tables)
    chosen = [sheet for sheet in tables if sheet.name == box]
    if len(tables) > 1 and not chosen:
        listed = ", ".join(quoted(name) for name in names)
        raise SeveralBoxes(
            f"{where(file_name, None)}: The workbook has {len(names)} sheets with a table: {listed}. "
            "Choose one of them as the box.",
            file_name=file_name,
            boxes=names,
        )
    sheet = chosen[0] if chosen else tables[0]
    notes = [f"The sheet {quoted(sheet.name)} was read."]
    if sheet.holds_formulas:
        notes.append("Formulas were read as their last calculated values.")
    return LogLines(sheet.lines, "workbook", "\t", True, names if len(tables) > 1 else (), sheet.name, tuple(notes))

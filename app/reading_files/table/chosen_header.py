"""The header of a file: the line that a person chose, or the one that is found."""

from app.reading_files.headers.search import Header, find_header, header_at
from app.reading_files.refusals import refusal
from app.reading_files.table.log_lines import LogLines
from app.reading_files.text.line_fields import DELIMITER_NAMES


def chosen_header(opened: LogLines, file_name: str, line: int | None) -> Header:
    """The header at the chosen line, or the one that is found."""
    if line is None:
        found = find_header(opened.lines, opened.delimiter)
        if found is None:
            raise _no_table(opened, file_name)
        return found
    there = opened.lines[line - 1] if 0 < line <= len(opened.lines) else None
    found = None if there is None else header_at(opened.lines, opened.delimiter, line - 1)
    if found is None:
        raise refusal(
            file_name,
            "The line chosen as the header does not hold two names, with fields separated by "
            f"{DELIMITER_NAMES[opened.delimiter]}.",
            "Choose the line that names the columns.",
            line=line,
            text=there,
        )
    return found


def _no_table(opened: LogLines, file_name: str) -> Exception:
    first = next((index for index, line in enumerate(opened.lines) if line.strip()), 0)
    return refusal(
        file_name,
        f"No table of readings was found, with fields separated by {DELIMITER_NAMES[opened.delimiter]}.",
        "A header line, with a time column, is required above the rows of numbers.",
        line=first + 1,
        text=opened.lines[first],
    )

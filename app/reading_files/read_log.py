"""Any logger file into one table of readings: what the rest of the program calls.

The steps, each in its own module: bytes to lines (`log_lines`), where the table begins (`header_search`), what stands
above it (`preamble`), what each column holds (`time_columns`, `column_roles`, `long_layout`), rows to numbers
(`table_segment`, `table_body`, `row_times`, `number_text`), and one rising row of times of one box (`assemble_log`,
`boxes`, `utc_order`, `held_values`, `log_start`).
"""

from app.reading_files.assemble_log import assemble_log
from app.reading_files.headers.preamble import read_preamble
from app.reading_files.headers.search import Header, find_header
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.refusals import ColumnsNotRecognised, refusal
from app.reading_files.table.log_lines import LogLines, open_lines
from app.reading_files.table.segment import Segment, Source, read_segment
from app.reading_files.text.line_fields import DELIMITER_NAMES
from app.reading_files.time.rows_without_time import MOST_LATER_HEADERS


def read_log(content: bytes, file_name: str, choices: ReadingChoices | None = None) -> LogTable:
    """The readings of one box of a logger file.

    Parameters
    content : the bytes of a CSV, tab-separated, text or XLSX file
    file_name : for messages, and for a table without a header
    choices : what a person or a stored profile decided
    Raises   UnreadableLog with file, line, text found and what would be needed; SeveralBoxes (with `boxes`) where the
        file holds several and none was chosen; ColumnsNotRecognised (with `columns`) where the times or every channel
        are missing

    >>> log = read_log(b"time,PM2.5 (mg/m3)\\n2026-01-05T10:00:00Z,0.2\\n2026-01-05T10:00:10Z,0.1\\n", "log.csv")
    >>> log.levels["pm2_5"], log.units["pm2_5"], log.interval_s
    (array([200., 100.]), 'µg/m³', 10.0)
    """
    choices = choices or ReadingChoices()
    opened = open_lines(content, file_name, choices.box)
    header = find_header(opened.lines, opened.delimiter)
    if header is None:
        raise _no_table(opened, file_name)
    preamble = read_preamble(opened.lines[: max(0, header.line)], choices.day_first)
    source = Source(opened.lines, file_name, opened.delimiter, opened.last_line_ends, choices, preamble)
    segments, notes = _read_segments(source, header)
    return assemble_log(content, source, opened, segments, notes)


def _no_table(opened: LogLines, file_name: str) -> Exception:
    first = next((index for index, line in enumerate(opened.lines) if line.strip()), 0)
    return refusal(
        file_name,
        f"No table of readings was found, with fields parted by {DELIMITER_NAMES[opened.delimiter]}.",
        "Needed is a line of headers, one of them for the time, above rows of numbers.",
        line=first + 1,
        text=opened.lines[first],
    )


def _read_segments(source: Source, header: Header) -> tuple[list[Segment], list[str]]:
    """The tables of the file, one for each different header."""
    stop = len(source.lines)
    whole = read_segment(source, header, stop)
    if not whole.later_headers:
        return [whole], []
    if len(whole.later_headers) >= MOST_LATER_HEADERS:
        last = whole.later_headers[-1]
        raise refusal(
            source.file_name,
            f"The header changes {MOST_LATER_HEADERS} times or more.",
            "Give one table, or a few, in a file.",
            line=last.line + 1,
            text=source.lines[last.line],
        )
    heads = [header, *whole.later_headers]
    stops = [head.line for head in heads[1:]] + [stop]
    segments, notes = [], []
    for head, end in zip(heads, stops, strict=True):
        try:
            segments.append(read_segment(source, head, end))
        except ColumnsNotRecognised as problem:
            if not segments:
                raise
            notes.append(f"The table from line {head.line + 1} on was left out: {problem.message}")
            continue
        if head is not header:
            notes.append(f"The header changes in line {head.line + 1}.")
    return segments, notes

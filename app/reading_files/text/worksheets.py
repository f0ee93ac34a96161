"""Converts sheets of a workbook (XLSX) to tab-separated lines, so that one reader handles both kinds of file."""

import io
import struct
import zipfile
import zlib
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from xml.etree.ElementTree import ParseError

from app.hidden_marks import without_hidden_marks
from app.reading_files.refusals import quoted, refusal

LARGEST_UNPACKED_BYTES = 400 * 1024 * 1024
LARGEST_RATIO = 200  # normal worksheets compress about 10 times; a zip bomb 1,000 times
SMALL_UNPACKED_BYTES = 20 * 1024 * 1024
MOST_MEMBERS = 2000
MOST_CELLS = 30_000_000
MOST_ROWS = 1_100_000

# errors that a damaged workbook can raise in the parsers; each is reported as an unreadable file
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    ParseError,
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    NotImplementedError,
    OSError,
    RuntimeError,
    TypeError,
    ValueError,
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its name, its rows as tab-separated lines, and whether it contains formulas."""

    name: str
    lines: list[str]
    holds_formulas: bool


def read_sheets(content: bytes, file_name: str) -> list[Sheet]:
    """The non-empty sheets. For a formula, its last calculated value is used."""
    _refuse_bombs(content, file_name)
    import openpyxl  # loaded when used

    try:
        workbook = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
        try:
            sheets = [_sheet(worksheet) for worksheet in workbook.worksheets]
        finally:
            workbook.close()
        formulas = _sheets_with_formulas(content)
    except _TooManyCells as problem:
        raise refusal(
            file_name,
            f"The sheet {quoted(problem.args[0])} has more than {MOST_CELLS:,} cells or {MOST_ROWS:,} rows.",
            "Cut the log to the hours of the trial.",
        ) from problem
    except DAMAGE as problem:
        raise refusal(
            file_name,
            "The workbook is damaged.",
            "Open it in a spreadsheet program, save it again as XLSX or CSV, and upload that file.",
        ) from problem
    filled = [Sheet(name, lines, any(formulas)) for name, lines in sheets if any(line.strip() for line in lines)]
    if not filled:
        raise refusal(file_name, "The workbook has no cells with values.", "A table with one row per time is required.")
    return filled


class _TooManyCells(Exception):
    pass


def _refuse_bombs(content: bytes, file_name: str) -> None:
    """Checks sizes before unpacking; zipfile never unpacks more than declared."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
    except DAMAGE as problem:
        raise refusal(
            file_name,
            "The file starts as a ZIP archive or workbook but is damaged or cut off.",
            "Export the log again and upload the whole file.",
        ) from problem
    names = {member.filename for member in members}
    if "xl/workbook.xml" not in names:
        raise refusal(
            file_name,
            "The file is a zip archive, not a workbook.",
            "Unpack it and upload the log itself as CSV, tab-separated text or XLSX.",
        )
    if any(member.flag_bits & 1 for member in members):
        raise refusal(file_name, "The workbook is encrypted.", "Save it without a password and upload that file.")
    unpacked = sum(member.file_size for member in members)
    packed = max(1, sum(member.compress_size for member in members))
    if (
        len(members) > MOST_MEMBERS
        or unpacked > LARGEST_UNPACKED_BYTES
        or (unpacked > SMALL_UNPACKED_BYTES and unpacked / packed > LARGEST_RATIO)
    ):
        raise refusal(
            file_name,
            f"The workbook unpacks from {packed / 1024**2:.1f} to {unpacked / 1024**2:.0f} MB in {len(members)} parts; "
            f"at most {LARGEST_UNPACKED_BYTES / 1024**2:.0f} MB and {LARGEST_RATIO} times the size are unpacked.",
            "Save the sheet with the log as CSV and upload that file.",
        )


def _sheet(worksheet: Any) -> tuple[str, list[str]]:
    worksheet.reset_dimensions()  # a sheet may declare a million empty columns
    lines: list[str] = []
    cells = 0
    for row in worksheet.iter_rows(values_only=True):
        cells += len(row)
        if cells > MOST_CELLS or len(lines) >= MOST_ROWS:
            raise _TooManyCells(worksheet.title)
        lines.append("\t".join(map(_cell_text, row)).rstrip("\t"))
    while lines and not lines[-1].strip():
        lines.pop()
    return worksheet.title, lines


def _cell_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return " ".join(without_hidden_marks(value).replace('"', "”").split())
    if isinstance(value, datetime):
        return _moment_text(value)
    if isinstance(value, time):
        return _time_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, timedelta):
        whole = round(value.total_seconds())
        return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return repr(value) if isinstance(value, float) else str(value)


def _moment_text(moment: datetime) -> str:
    if moment.year < 9999:
        # a spreadsheet stores days as fractions, which blurs the last microseconds
        moment += timedelta(microseconds=500 - (moment.microsecond + 500) % 1000)
    text = moment.replace(tzinfo=None).isoformat(sep=" ", timespec="milliseconds")
    return text.removesuffix(".000")


def _time_text(clock: time) -> str:
    return clock.replace(tzinfo=None).isoformat(timespec="milliseconds").removesuffix(".000")


def _sheets_with_formulas(content: bytes) -> list[bool]:
    found = []
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for member in archive.infolist():
            if member.filename.startswith("xl/worksheets/") and member.filename.endswith(".xml"):
                with archive.open(member) as part:
                    found.append(
                        any(b"<f>" in chunk or b"<f " in chunk for chunk in iter(lambda: part.read(1 << 20), b""))
                    )
    return found

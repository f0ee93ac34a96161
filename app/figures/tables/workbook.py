"""A table for download as a workbook (XLSX): numbers as numbers, text as text, and a sheet on its source.

The same table gives the same bytes, on any day and machine.
"""

import re
from datetime import UTC, datetime
from io import BytesIO
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from app.figures.tables.formats import plain_digits
from app.figures.tables.table import ExportCell, ExportColumn, ExportTable
from app.hidden_marks import without_hidden_marks

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
INVENTED = "Demonstration with invented data: every unit, maker, room and number here is made up."
_NO_DAY = datetime(2000, 1, 1, tzinfo=UTC)
_PLAIN_NUMBER = re.compile(r"-?\d+(?:\.(\d+))?")
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_WIDEST, _NARROWEST = 44, 11


def workbook_bytes(table: ExportTable, *, invented: bool = False) -> bytes:
    """Two sheets: the table with units in the headers, and its source.

    Numbers are rounded as in the other formats and show as many decimals. Text is stored as text, so that
    no spreadsheet runs it as a formula.
    """
    from openpyxl import Workbook  # loaded when used
    from openpyxl.styles import Alignment, Font  # loaded when used

    book = Workbook()
    sheet = book.active
    sheet.title = f"{table.name} (invented)" if invented else table.name
    heads = [head for column in table.columns for head in _heads(column)]
    for place, head in enumerate(heads, start=1):
        _put(sheet, 1, place, head)
        sheet.cell(1, place).font = Font(bold=True)
        sheet.cell(1, place).alignment = Alignment(wrap_text=True, vertical="top")
    widths = [len(head) // 2 for head in heads]
    for number, row in enumerate(table.rows, start=2):
        cells = [cell for column, taken in zip(table.columns, row, strict=True) for cell in _cells(column, taken)]
        for place, (text, is_number) in enumerate(cells, start=1):
            _put(sheet, number, place, text, is_number=is_number)
            widths[place - 1] = max(widths[place - 1], len(text))
    for place, width in enumerate(widths, start=1):
        letter = sheet.cell(1, place).column_letter
        sheet.column_dimensions[letter].width = min(max(width + 2, _NARROWEST), _WIDEST)
    sheet.freeze_panes = "B2"
    _source_sheet(book, table, invented=invented)
    return _same_bytes(book)


def _heads(column: ExportColumn) -> list[str]:
    if not column.with_interval:
        return [column.words]
    unit = f" [{column.unit_symbol}]" if column.unit_symbol else ""
    ends = [f"{column.head}, {end} 95\u00a0%{unit}" for end in ("low", "high")]
    return [column.words, *ends, f"{column.head}, bound"]


def _cells(column: ExportColumn, cell: ExportCell) -> list[tuple[str, bool]]:
    own = (cell.value, column.is_number)
    return [own, (cell.low, True), (cell.high, True), (cell.bound, False)] if column.with_interval else [own]


def _put(sheet: Any, row: int, place: int, text: str, *, is_number: bool = False) -> None:
    if not text:
        return
    cell = sheet.cell(row, place)
    number = _PLAIN_NUMBER.fullmatch(plain_digits(text)) if is_number else None
    if number:
        cell.value = float(number[0])
        decimals = len(number[1] or "")
        cell.number_format = f"#,##0.{'0' * decimals}" if decimals else "#,##0"
        return
    cell.value = without_hidden_marks(_NOT_IN_XML.sub("\ufffd", text))
    cell.data_type = "s"  # text, even if it begins like a formula
    cell.quotePrefix = True  # and remains so after editing


def _source_sheet(book: Any, table: ExportTable, *, invented: bool) -> None:
    """Sheet with title, conditions, author and date of the latest data."""
    from openpyxl.styles import Alignment, Font  # loaded when used

    sheet = book.create_sheet("source")
    entries = [
        ("Table", table.caption),
        ("Conditions", table.conditions),
        ("Source", table.source_line),
        ("Latest data", "" if table.newest is None else table.newest.isoformat()),
        ("Numbers", "Values are rounded by their uncertainty; low and high are the ends of the 95\u00a0% interval."),
    ]
    for number, (name, words) in enumerate([("Invented", INVENTED), *entries] if invented else entries, start=1):
        _put(sheet, number, 1, name)
        _put(sheet, number, 2, words)
        sheet.cell(number, 1).font = Font(bold=True)
        sheet.cell(number, 2).alignment = Alignment(wrap_text=True, vertical="top")
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 16, 90


def _same_bytes(book: Any) -> bytes:
    """The workbook with all timestamps set to a fixed date."""
    book.properties.created = book.properties.modified = _NO_DAY
    book.properties.creator = "Hazefall"
    written, out = BytesIO(), BytesIO()
    book.save(written)
    with ZipFile(written) as given, ZipFile(out, "w", ZIP_DEFLATED) as made:
        for name in given.namelist():
            content = given.read(name)
            if name == "docProps/core.xml":  # the library overwrites the given time with the time of saving
                content = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", content)
            made.writestr(ZipInfo(name, (2000, 1, 1, 0, 0, 0)), content, ZIP_DEFLATED)
    return out.getvalue()

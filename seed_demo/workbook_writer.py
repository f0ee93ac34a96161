"""Minimal XLSX writer: one sheet, the same bytes for the same rows.

openpyxl writes the current time into the file; here the dates are fixed.
The parts and their names are those of Office Open XML (ECMA-376), the form "transitional".
"""

import zipfile
from collections.abc import Sequence
from io import BytesIO
from xml.sax.saxutils import escape

_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_FIXED_DATE = (2024, 1, 1, 0, 0, 0)


def workbook_bytes(sheet: str, rows: Sequence[Sequence[str | float]]) -> bytes:
    """A workbook with one sheet; numbers become number cells, text becomes text cells."""
    widest = max(map(len, rows))
    letters = [_letters(column) for column in range(widest)]
    parts = {
        "[Content_Types].xml": (
            '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
            '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            '<Default Extension="xml" ContentType="application/xml"/>'
            f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPES}.sheet.main+xml"/>'
            f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_TYPES}.worksheet+xml"/></Types>'
        ),
        "_rels/.rels": (
            f'<Relationships xmlns="{_RELATIONS}"><Relationship Id="rId1" Type="{_OFFICE}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>'
        ),
        "xl/workbook.xml": (
            f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>'
            f'<sheet name="{escape(sheet)}" sheetId="1" r:id="rId1"/></sheets></workbook>'
        ),
        "xl/_rels/workbook.xml.rels": (
            f'<Relationships xmlns="{_RELATIONS}"><Relationship Id="rId1" Type="{_OFFICE}/worksheet" '
            'Target="worksheets/sheet1.xml"/></Relationships>'
        ),
        "xl/worksheets/sheet1.xml": (
            f'<worksheet xmlns="{_MAIN}">'
            # without it a reader has to scan the sheet twice to find its size
            f'<dimension ref="A1:{letters[widest - 1]}{len(rows)}"/><sheetData>'
            + "".join(_row(number, letters, cells) for number, cells in enumerate(rows, start=1))
            + "</sheetData></worksheet>"
        ),
    }
    written = BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        for name, content in parts.items():
            entry = zipfile.ZipInfo(name, _FIXED_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, _XML + content)
    return written.getvalue()


def _row(number: int, letters: Sequence[str], cells: Sequence[str | float]) -> str:
    written = "".join([_cell(f"{letter}{number}", cell) for letter, cell in zip(letters, cells, strict=False)])
    return f'<row r="{number}">{written}</row>'


def _cell(place: str, content: str | float) -> str:
    if isinstance(content, str):
        return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{escape(content)}</t></is></c>'
    return f'<c r="{place}"><v>{content!r}</v></c>'


def _letters(column: int) -> str:
    """
    >>> _letters(0), _letters(25), _letters(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters

"""Tables of anything into rows of text, for entry in bulk."""

import io

import openpyxl
import pytest

from app.errors import UnreadableLog
from app.reading_files.table.cells_table import read_cells


def cells(text: str, name: str = "prices.csv"):
    return read_cells(text.encode(), name)


def test_rows_keep_their_line_numbers():
    table = cells('\nunit,price,note\n\nHearth 3,199.90,"new, in box"\n  \nBrook,89,\n')
    assert (table.header_line, table.headers) == (2, ("unit", "price", "note"))
    assert [(row.line, row.cells) for row in table.rows] == [
        (4, ("Hearth 3", "199.90", "new, in box")),
        (6, ("Brook", "89", "")),
    ]
    assert (table.delimiter, table.decimal_mark, table.sheet) == ("comma", ".", "")


def test_semicolons_and_decimal_commas_in_latin_1():
    table = read_cells("Gerät;Preis\nHerd, groß;199,90\n".encode("cp1252"), "preise.csv")
    assert (table.headers, table.rows[0].cells) == (("Gerät", "Preis"), ("Herd, groß", "199,90"))
    assert (table.delimiter, table.decimal_mark, table.encoding) == ("semicolon", ",", "cp1252")


def test_one_column():
    assert [row.cells for row in cells("unit\nHearth 3\nBrook\n").rows] == [("Hearth 3",), ("Brook",)]


def test_short_rows_are_filled_and_long_rows_told():
    table = cells("a,b,c\n1\n1,2,3,4\n1,2,3,,\n")
    assert [row.cells for row in table.rows] == [("1", "", ""), ("1", "2", "3")]
    assert table.skipped == ((3, "4 cells but 3 headers"),)


def workbook() -> bytes:
    book = openpyxl.Workbook()
    book.active.append(["unit", "price"])
    book.active.append(["Hearth 3", 199.9])
    book.create_sheet("old").append(["unit", "price"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_workbook():
    table = read_cells(workbook(), "prices.xlsx")
    assert (table.sheet, table.delimiter, table.rows[0].cells) == ("Sheet", "worksheet", ("Hearth 3", "199.9"))
    assert read_cells(workbook(), "prices.xlsx", "old").rows == ()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "a,,c\n1,2,3\n",
            "prices.csv, line 1: Column 2 has no header. The text there is “a,,c”. Give each column a header.",
        ),
        (
            "a,A\n1,2\n",
            "prices.csv, line 1: The header “A” occurs twice. The text there is “a,A”. "
            "Give each column a unique header.",
        ),
        (",,\n;;\n", "prices.csv: The file has no cells. A header row and rows below it are required."),
        ("", "prices.csv: The file is empty. A table with one row per time is required: export the log again."),
    ],
)
def test_refusals(text, message):
    with pytest.raises(UnreadableLog) as caught:
        cells(text)
    assert caught.value.message == message


def test_a_sheet_that_is_not_there():
    with pytest.raises(UnreadableLog, match=r"There is no sheet “new”\. Choose one of the sheets “Sheet”, “old”\."):
        read_cells(workbook(), "prices.xlsx", "new")


def test_too_many_rows(monkeypatch):
    monkeypatch.setattr("app.reading_files.table.cells_table.MOST_ROWS", 2)
    with pytest.raises(UnreadableLog, match=r"The table has 3 rows and 1 columns\..*At most 2 rows and 1,000 columns"):
        cells("a\n1\n2\n")

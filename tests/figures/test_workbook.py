"""A table as a workbook: numbers are numbers, and text can never run as a formula."""

import re
import time
from dataclasses import replace
from io import BytesIO
from zipfile import ZipFile

import pytest
from openpyxl import load_workbook

from app.figures.tables.table import AT_LEAST, ExportCell, measured_cell, plain_cell
from app.figures.tables.workbook import INVENTED, workbook_bytes
from tests.figures.test_table_formats import FULL, table


def sheets(content: bytes):
    return load_workbook(BytesIO(content))


def test_numbers_are_numbers_with_their_decimals_and_the_heads_have_units():
    sheet = sheets(workbook_bytes(FULL))["ranking"]
    heads = [cell.value for cell in sheet[1]]
    assert heads == [
        "Unit",
        "Rate [m³/h]",
        "Rate, low 95\u00a0% [m³/h]",
        "Rate, high 95\u00a0% [m³/h]",
        "Rate, bound",
        "Price [USD]",
    ]
    row = sheet[2]
    assert [cell.data_type for cell in row[1:4]] == ["n", "n", "n"]
    rate = measured_cell(12345.6, 43.0, 12260.0, 12430.0)
    assert f"{row[1].value:,.0f}".replace(",", "\u202f") == rate.value  # rounded by its uncertainty, as elsewhere
    negative = sheet[3][1]
    assert negative.value == pytest.approx(-3.1, abs=0.05)
    assert negative.number_format == "#,##0.0"
    assert sheet[4][4].value == AT_LEAST


def test_a_missing_number_is_an_empty_cell_and_a_zero_is_a_zero():
    sheet = sheets(workbook_bytes(FULL))["ranking"]
    assert sheet[3][5].value is None
    assert sheet[4][5].value == 0


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "＝"])
def test_no_text_becomes_a_formula(start: str):
    harmful = f"{start}HYPERLINK(1)"
    content = workbook_bytes(table((ExportCell(harmful), plain_cell(1.0, 0), plain_cell(2.0, 0))))
    cell = sheets(content)["ranking"]["A2"]
    assert (cell.data_type, cell.value) == ("s", harmful)
    assert cell.quotePrefix
    with ZipFile(BytesIO(content)) as packed:
        parts = [packed.read(name) for name in packed.namelist() if name.startswith("xl/worksheets/")]
    assert parts
    assert not [part for part in parts if re.search(rb"<f[ >]", part)]


def test_the_second_sheet_says_where_it_is_from_and_that_it_is_invented():
    book = sheets(workbook_bytes(FULL, invented=True))
    assert book.sheetnames == ["ranking (invented)", "source"]
    told = {row[0].value: row[1].value for row in book["source"].iter_rows()}
    assert told["Invented"] == INVENTED
    assert told["Source"] == "A bench."
    assert told["Conditions"] == "In a room."
    assert told["Latest data"] == "2026-03-02"
    real = sheets(workbook_bytes(FULL))
    assert "Invented" not in [row[0].value for row in real["source"].iter_rows()]


def test_the_same_table_gives_the_same_bytes_and_another_gives_others():
    first = workbook_bytes(FULL)
    time.sleep(1.1)  # the moment of saving is written in seconds
    assert workbook_bytes(FULL) == first
    assert workbook_bytes(replace(FULL, caption="Another")) != first


def test_signs_that_no_workbook_may_hold_are_replaced():
    content = workbook_bytes(table((ExportCell("bell\x07"), plain_cell(1.0, 0), plain_cell(2.0, 0))))
    assert sheets(content)["ranking"]["A2"].value == "bell\ufffd"

"""Tables for download: the same cells as HTML, Markdown and CSV, without active content."""

import csv
from datetime import date
from io import StringIO
from xml.etree import ElementTree

import pytest

from app.figures.tables.formats import csv_text, html_fragment, markdown
from app.figures.tables.table import AT_LEAST, ExportCell, ExportColumn, ExportTable, measured_cell, plain_cell
from tests.figures.some_charts import HARMFUL

COLUMNS = (
    ExportColumn("unit", "Unit", is_number=False),
    ExportColumn("rate_m3_per_h", "Rate", "m³/h", with_interval=True),
    ExportColumn("price_usd", "Price", "USD"),
)


def table(*rows: tuple[ExportCell, ...]) -> ExportTable:
    return ExportTable("ranking", "Units | in order", COLUMNS, rows, "In a room.", "A bench.", date(2026, 3, 2))


FULL = table(
    (ExportCell("Maker A"), measured_cell(12345.6, 43.0, 12260.0, 12430.0), plain_cell(199.0, 0)),
    (ExportCell(HARMFUL), measured_cell(-3.14159, 0.5, -4.1, -2.1), ExportCell(why="No price is recorded.")),
    (ExportCell("Maker C"), plain_cell(8.0, 0, bound=AT_LEAST), plain_cell(0.0, 0)),
)


def test_the_fragment_is_one_table_with_caption_and_scope_and_no_classes():
    root = ElementTree.fromstring(html_fragment(FULL))
    assert root.tag == "table"
    assert root[0].tag == "caption"
    assert [cell.get("scope") for cell in root.iter("th")] == ["col"] * 3 + ["row"] * 3
    assert all(set(element.attrib) <= {"scope", "colspan"} for element in root.iter())
    text = "".join(root.itertext())
    assert "12\u202f350 (12\u202f260 to 12\u202f430)" in text or "12\u202f346" in text
    assert "at least 8" in text
    assert "In a room. A bench. Latest data: 2026-03-02." in text


def test_harmful_names_are_words_in_every_format():
    assert "<img" not in html_fragment(FULL)
    assert "<img" not in markdown(FULL).replace("\\<img", "")
    assert list(csv.DictReader(StringIO(csv_text(FULL), newline="")))[1]["unit"] == HARMFUL  # begins with "<"


def test_markdown_has_one_line_a_row_and_as_many_cells_as_columns():
    lines = [line for line in markdown(FULL).splitlines() if line.startswith("|")]
    assert len(lines) == 2 + 3
    assert lines[1] == "| :--- | ---: | ---: |"
    for line in lines:
        assert line.replace("\\|", "").count("|") == 4
    assert markdown(FULL).startswith("**Units \\| in order**")


def test_csv_holds_plain_digits_that_a_program_reads():
    rows = list(csv.DictReader(StringIO(csv_text(FULL), newline="")))
    assert float(rows[0]["rate_m3_per_h"]) == pytest.approx(12345.6, abs=10)
    assert rows[1]["rate_m3_per_h"] == "-3.1"
    assert rows[1]["rate_m3_per_h_low_95"] == "-4.1"
    assert rows[1]["price_usd"] == ""
    assert rows[2]["rate_m3_per_h_bound"] == "at least"


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1+2", "@SUM(A1)", "\tx"])
def test_no_text_is_taken_for_a_formula(start: str):
    rows = list(csv.DictReader(StringIO(csv_text(table((ExportCell(start), ExportCell(), ExportCell()))), newline="")))
    assert rows[0]["unit"] == f"'{start}"


def test_a_number_column_lets_no_formula_through_either():
    rows = list(
        csv.DictReader(StringIO(csv_text(table((ExportCell("A"), ExportCell("=1"), ExportCell()))), newline=""))
    )
    assert rows[0]["rate_m3_per_h"] == "'=1"


def test_a_row_of_another_length_is_refused():
    with pytest.raises(ValueError, match="Table 'ranking' has 3 columns and a row of 1 cells"):
        table((ExportCell("A"),))

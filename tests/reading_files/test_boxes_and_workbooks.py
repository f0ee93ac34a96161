"""Files that hold several boxes, and workbooks."""

import io
import zipfile
from datetime import date, datetime, time

import openpyxl
import pytest

from app.reading_files.log_table import ReadingChoices
from app.reading_files.read_log import read_log
from app.reading_files.refusals import SeveralBoxes
from app.reading_files.text.worksheets import read_sheets
from tests.reading_files.reading import read_text, refused, rows, utc

TWO_BOXES = rows(
    "time,device,pm1",
    *(
        f"2026-01-05 10:00:{s:02d},{box},{s + (100 if box == 'right' else 0)}"
        for s in range(5)
        for box in ("left", "right")
    ),
)


def test_without_a_choice_the_boxes_are_listed():
    with pytest.raises(SeveralBoxes) as caught:
        read_text(TWO_BOXES)
    assert caught.value.boxes == ("left", "right")
    assert caught.value.message == (
        "log.csv, line 1: The file has 2 boxes in the column “device”: “left”, “right”. Choose one of them as the box."
    )


def test_one_box_is_read_without_the_other():
    log = read_text(TWO_BOXES, box="right")
    assert (log.box, log.boxes, log.rows_read) == ("right", ("left", "right"), 5)
    assert log.levels["pm1"].tolist() == [100, 101, 102, 103, 104]


def test_a_box_that_is_not_there():
    message = refused(TWO_BOXES, box="middle").message
    assert message.startswith("log.csv, line 1: There is no box “middle” in the column “device”: “left”, “right”.")
    without = refused(rows("time,pm1", "2026-01-05 10:00,1", "2026-01-05 10:01,2"), box="left").message
    assert without == (
        "log.csv, line 1: There is no box column, so box “left” cannot be selected. Leave the box empty."
    )


def test_one_box_needs_no_choice():
    log = read_text(rows("time,serial no,pm1", "2026-01-05 10:00,007,1", "2026-01-05 10:01,007,2"))
    assert (log.box, log.boxes) == ("007", ("007",))


def test_many_boxes_are_listed_in_part():
    text = rows("time,device,pm1", *(f"2026-01-05 10:00:00,box{number},1" for number in range(40)))
    problem = refused(text)
    assert len(problem.boxes) == 40
    assert "“box29” and 10 more." in problem.message


def test_a_number_for_each_row_is_no_box():
    text = rows(
        "time,serial,pm1", *(f"2026-01-05 10:{m:02d}:{s:02d},{m * 60 + s},1" for m in range(10) for s in range(60))
    )
    assert read_text(text).box is None


def workbook(*sheets: tuple[str, list[list[object]]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, lines in sheets:
        sheet = book.create_sheet(name)
        for line in lines:
            sheet.append(line)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_workbook_with_real_dates_and_numbers():
    lines = [["Logger export"], [], ["Time", "PM2.5 (mg/m3)", "Temp (°F)", "Note"]]
    lines += [[datetime(2026, 1, 5, 10, 0, second), second / 1000, 212, "ok"] for second in range(5)]  # noqa: DTZ001
    log = read_log(workbook(("log", lines)), "log.xlsx")
    assert (log.encoding, log.delimiter, log.header_line, log.started_at) == (
        "workbook",
        "worksheet",
        3,
        utc(2026, 1, 5, 10),
    )
    assert log.levels["pm2_5"] == pytest.approx([0, 1, 2, 3, 4])
    assert log.levels["temperature"] == pytest.approx([100] * 5)
    assert "The sheet “log” was read." in log.notes


def test_a_workbook_with_date_and_time_in_two_columns_and_text_numbers():
    lines = [
        ["Date", "Time", "PM10"],
        [date(2026, 1, 25), time(23, 59, 59), "1,5"],
        [date(2026, 1, 26), time(0), "2.5"],
    ]
    log = read_log(workbook(("log", lines)), "log.xlsx")
    assert (log.elapsed_s.tolist(), log.levels["pm10"].tolist()) == ([0, 1], [1.5, 2.5])


def test_sheets_are_boxes():
    lines = [["time", "pm1"], ["2026-01-05 10:00:00", 1], ["2026-01-05 10:00:01", 2]]
    other = [["time", "pm1"], ["2026-01-05 10:00:00", 5], ["2026-01-05 10:00:01", 6]]
    content = workbook(("read me", [["nothing here"]]), ("unit A", lines), ("unit B", other))
    with pytest.raises(SeveralBoxes, match="The workbook has 2 sheets with a table: “unit A”, “unit B”") as caught:
        read_log(content, "log.xlsx")
    assert caught.value.boxes == ("unit A", "unit B")
    log = read_log(content, "log.xlsx", ReadingChoices(box="unit B"))
    assert (log.box, log.boxes, log.levels["pm1"].tolist()) == ("unit B", ("unit A", "unit B"), [5, 6])


def test_a_workbook_with_one_table_and_a_column_of_boxes():
    lines = [["time", "device", "pm1"], *([f"2026-01-05 10:00:0{s}", box, s] for s in range(3) for box in "ab")]
    content = workbook(("log", lines))
    with pytest.raises(SeveralBoxes, match="The file has 2 boxes"):
        read_log(content, "log.xlsx")
    assert read_log(content, "log.xlsx", ReadingChoices(box="b")).levels["pm1"].tolist() == [0, 1, 2]


def test_of_formulas_the_stored_values_are_read():
    """A formula that no spreadsheet program has calculated holds no value: its cell is empty."""
    lines = [["time", "pm1", "pm10"], ["2026-01-05 10:00:00", 1, "=B2*2"], ["2026-01-05 10:00:01", 2, "=1/0"]]
    log = read_log(workbook(("log", lines)), "log.xlsx")
    assert list(log.levels) == ["pm1"]
    assert any("last calculated" in note for note in log.notes)


def test_text_after_an_equals_sign_is_never_run():
    log = read_text(rows("time,pm1,note", "2026-01-05 10:00:00,1,=HYPERLINK(0)", "2026-01-05 10:00:01,=1+1,x"))
    assert log.levels["pm1"].tolist() == [1]
    assert "“pm1”: “=1+1” is not a number" in [skip.reason for skip in log.skipped]


def repacked(content: bytes, **changes: bytes | None) -> bytes:
    """The workbook with parts replaced or, with None, left out."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = {name.replace("/", "_").replace(".", "_"): name for name in old.namelist()}
        for short, name in names.items():
            if short not in changes:
                new.writestr(name, old.read(name))
        for short, data in changes.items():
            if data is not None:
                new.writestr(names.get(short, short), data)
    return out.getvalue()


GOOD = workbook(("log", [["time", "pm1"], ["2026-01-05 10:00:00", 1], ["2026-01-05 10:00:01", 2]]))


def test_a_zip_bomb_is_refused_before_it_is_unpacked():
    bomb = repacked(GOOD, xl_worksheets_sheet1_xml=b"<x>" + b" " * (90 * 1024 * 1024) + b"</x>")
    assert len(bomb) < 200_000
    problem = refused(bomb, "bomb.xlsx")
    assert "The workbook unpacks from 0.1 to 90 MB" in problem.message
    assert "Save the sheet with the log as CSV" in problem.message


def test_a_million_declared_columns_do_no_harm():
    with zipfile.ZipFile(io.BytesIO(GOOD)) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    wide = sheet.replace(b'ref="A1:B3"', b'ref="A1:XFD1048576"')
    assert wide != sheet
    assert read_log(repacked(GOOD, xl_worksheets_sheet1_xml=wide), "log.xlsx").levels["pm1"].tolist() == [1, 2]


def test_entities_that_grow_are_refused():
    entities = b'<!DOCTYPE x [<!ENTITY a "' + b"b" * 1000 + b'">'
    for number in range(1, 12):
        entities += b'<!ENTITY a%d "%s">' % (number, b"&a%d;" % (number - 1) * 10 if number > 1 else b"&a;" * 10)
    sheet = (
        b"<?xml version='1.0'?>"
        + entities
        + b"]><worksheet><sheetData><row><c><v>&a11;</v></c></row></sheetData></worksheet>"
    )
    assert "The workbook" in refused(repacked(GOOD, xl_worksheets_sheet1_xml=sheet), "log.xlsx").message


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (GOOD[:300], "The file starts as a ZIP archive or workbook but is damaged or cut off."),
        (repacked(GOOD, xl_workbook_xml=None), "The file is a zip archive, not a workbook."),
        (repacked(GOOD, xl_workbook_xml=b"<broken"), "The workbook is damaged. Open it"),
        (repacked(GOOD, xl_worksheets_sheet1_xml=b"<broken"), "The workbook is damaged. Open it"),
        (workbook(("empty", [])), "The workbook has no cells with values."),
    ],
)
def test_damaged_workbooks(content, said):
    problem = refused(content, "log.xlsx")
    assert problem.message.startswith("log.xlsx: ")
    assert said in problem.message


def test_an_encrypted_part():
    content = bytearray(GOOD)
    for mark in (b"PK\x01\x02", b"PK\x03\x04"):
        place = content.find(mark)
        content[place + (8 if mark == b"PK\x01\x02" else 6)] |= 1
    assert "The workbook is encrypted. Save it without a password" in refused(bytes(content), "log.xlsx").message


def test_too_many_cells(monkeypatch):
    monkeypatch.setattr("app.reading_files.text.worksheets.MOST_ROWS", 2)
    problem = refused(GOOD, "log.xlsx")
    assert "The sheet “log” has more than 30,000,000 cells or 2 rows." in problem.message


def test_cells_as_text():
    content = workbook(("s", [[True, 1, 2.5, 'say "hi"\tnow', None, time(1, 2, 3, 500_000)]]))
    assert read_sheets(content, "log.xlsx")[0].lines == ["True\t1\t2.5\tsay ”hi” now\t\t01:02:03.500"]

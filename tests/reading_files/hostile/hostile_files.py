"""Files that are made to break a reader or fill its memory, each under the name of what it tries."""

import io
import zipfile
from collections.abc import Callable

from tests.reading_files.hostile.mutated_logs import SEEDS


def _rows(time: str = "2026-01-05 10:00:%02d", level: str = "%d.5", rows: int = 50) -> bytes:
    lines = [f"{time % row if '%' in time else time},{level % row if '%' in level else level}" for row in range(rows)]
    return ("time,PM2.5\n" + "\n".join(lines) + "\n").encode()


def _bomb(unpacked_mb: int, members: int = 1) -> bytes:
    """A workbook whose sheet unpacks to so much."""
    sheet = b"<worksheet><sheetData>" + b" " * (unpacked_mb * 1024 * 1024 // members) + b"</sheetData></worksheet>"
    out = io.BytesIO()
    given, made = zipfile.ZipFile(io.BytesIO(SEEDS["workbook.xlsx"])), zipfile.ZipFile(out, "w", 8, compresslevel=1)
    with given, made:
        for name in given.namelist():
            made.writestr(name, sheet if name.startswith("xl/worksheets/") else given.read(name))
        for number in range(1, members):
            made.writestr(f"xl/worksheets/more{number}.xml", sheet)
    return out.getvalue()


def _nested_bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", 8) as made:
        made.writestr("inner.zip", _bomb(64))
    return out.getvalue()


def _wide(columns: int) -> bytes:
    head = "time," + ",".join(f"PM2.5 probe {number}" for number in range(columns))
    rows = [f"2026-01-05 10:00:{second:02d}," + ",".join(["1.5"] * columns) for second in range(10)]
    return "\n".join([head, *rows, ""]).encode()


def _formulas() -> bytes:
    import openpyxl

    workbook = openpyxl.Workbook()
    sheet = workbook.active
    sheet.append(["time", "PM2.5 (µg/m³)"])
    for row in range(2, 40):
        sheet.append([f"2026-01-05 10:00:{row:02d}", f'=A{row}*2+HYPERLINK("http://invalid.invalid")'])
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _mixed_zones() -> bytes:
    zones = ("Z", "+02:00", "-11:30", "+14:00", "", " CET", "+99:99")
    lines = [f"2026-01-05T10:00:{second:02d}{zones[second % len(zones)]},{second}" for second in range(56)]
    return ("time,PM2.5\n" + "\n".join(lines) + "\n").encode()


HOSTILE: dict[str, Callable[[], bytes]] = {
    "a bomb of 300 MB in one sheet": lambda: _bomb(300),
    "a bomb of 64 MB in forty sheets": lambda: _bomb(64, members=40),
    "a zip in a zip": _nested_bomb,
    "one line of 30 MB": lambda: b"time,PM2.5," + b"1" * 30_000_000,
    "one line of five million fields": lambda: b"1," * 5_000_000,
    "one quote that is never closed": lambda: b'time,PM2.5\n"' + b"2026-01-05 10:00:00,1\n" * 100_000,
    "ten thousand columns": lambda: _wide(10_000),
    "lines of four thousand digits": lambda: b"time,PM2.5\n" + (b"1" * 4000 + b"\n") * 800,
    "lines of two thousand cells": lambda: (b"1," * 2000 + b"\n") * 800,
    "lines of a thousand headers": lambda: (b"time," * 1000 + b"\n") * 400,
    "lines of a thousand numbers": lambda: (b"1.5," * 1000 + b"\n") * 400,
    "a thousand columns": lambda: _wide(1000),
    "a million empty lines": lambda: b"time,PM2.5\n" + b"\n" * 1_000_000,
    "twenty million short rows": lambda: b"time,PM2.5\n" + b"0,1\n" * 20_000_000,
    "eighty million empty lines": lambda: b"time,PM2.5\n" + b"\r" * 80_000_000,
    "a million delimiters a line": lambda: b"time,PM2.5\n" + b"," * 1_000_000 + b"\n",
    "nothing but NUL bytes": lambda: b"\x00" * 1_000_000,
    "NUL bytes between the letters": lambda: _rows().replace(b",", b",\x00").replace(b":", b"\x00:"),
    "UTF-16 without a mark": lambda: _rows().decode().encode("utf-16-le"),
    "UTF-16 cut in the middle of a letter": lambda: _rows().decode().encode("utf-16")[:-1],
    "UTF-32": lambda: _rows().decode().encode("utf-32"),
    "UTF-7": lambda: _rows().replace(b"PM2.5", "µg/m³".encode("utf-7")),
    "EBCDIC": lambda: _rows().decode().encode("cp500"),
    "two encodings in one file": lambda: _rows().replace(b"PM2.5", "PM2.5 [µg/m³]".encode()) + "µ\n".encode("cp1252"),
    "bytes that are no UTF-8": lambda: _rows().replace(b"PM2.5", b"PM2.5 \xc3\x28\xa0\xa1 \xf0\x28\x8c\x28"),
    "formulas in cells": _formulas,
    "formulas as text": lambda: _rows(level="=1+%d"),
    "a command as text": lambda: _rows(level="=cmd|' /C calc'!A%d"),
    "mixed zones": _mixed_zones,
    "dates in 1900": lambda: _rows(time="1900-01-01 00:00:%02d"),
    "dates in 2100": lambda: _rows(time="2100-12-31 23:59:%02d"),
    "dates in the year one": lambda: _rows(time="0001-01-01 00:00:%02d"),
    "dates in the year 9999": lambda: _rows(time="9999-12-31 23:59:%02d"),
    "from 1900 to 2100 in two rows": lambda: b"time,PM2.5\n1900-01-01 00:00:00,1\n2100-01-01 00:00:00,2\n",
    "the same moment in every row": lambda: _rows(time="2026-01-05 10:00:00"),
    "infinite values": lambda: _rows(level="inf"),
    "values below minus infinity": lambda: _rows(level="-1e999"),
    "values that are no number": lambda: _rows(level="nan"),
    "the largest numbers": lambda: _rows(level="1.7976931348623157e308"),
    "numbers of ten thousand digits": lambda: _rows(level="9" * 10_000),
    "the smallest numbers": lambda: _rows(level="5e-324"),
    "an exponent of a million": lambda: _rows(level="1e1000000"),
    "times as the largest numbers": lambda: _rows(time="1e308"),
    "times as whole numbers of a hundred digits": lambda: _rows(time="1" * 100),
}

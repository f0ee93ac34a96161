"""Logs to begin with, and ways to damage them, each decided by a number."""

import io
import random

from tests.reading_files.reading import EXTRACTS


def _workbook() -> bytes:
    import openpyxl

    workbook = openpyxl.Workbook()
    sheet = workbook.active
    sheet.append(["time", "PM2.5 (µg/m³)", "Temp (°F)"])
    for second in range(20):
        sheet.append([f"2026-01-05 10:00:{second:02d}", second * 1.5, 70])
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


SEEDS: dict[str, bytes] = {
    **{path.name: path.read_bytes()[:12_000] for path in sorted(EXTRACTS.rglob("*.*"))},
    "workbook.xlsx": _workbook(),
    "plain.csv": b"time,PM1,PM2.5\n" + b"".join(b"2026-01-05T10:00:%02dZ,%d,%d\n" % (s, s, 2 * s) for s in range(60)),
    "utf16.txt": "Datum;Zeit;PM10 (mg/m³)\r\n25.01.2026;10:00:00;0,5\r\n25.01.2026;10:00:01;0,4\r\n".encode("utf-16"),
}
FRAGMENTS = (
    *(b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n", b"\r\n", b'"', b",", b";", b"\t", b"|", b" ", b"\x1a"),
    *(
        b"inf",
        b"-inf",
        b"nan",
        b"1e999",
        b"---",
        b"ERR",
        b"=1+1",
        b"time",
        b"Date,Time",
        b"PM2.5 (mg/m3)",
        b"1900-01-01",
    ),
    *(b"2100-12-31 23:59:59", b"9999-99-99", b"0", b"-", b"+02:00", b"Z", b"99999999999999999999", b"\xb5g/m\xb3"),
    *(
        "µ°³".encode(),
        b",,,,,,,,,,,,,,,,,,,,,,",
        b'"a\nb"',
        b"device,box",
        b"PK\x03\x04",
        b"UTC+99:00",
        b"0x10",
        b"1_000",
    ),
)


def mutate(content: bytes, numbers: list[int]) -> bytes:
    """The content with one change for each number."""
    for number in numbers:
        content = _change(content, random.Random(number))
    return content


def _change(content: bytes, chance: random.Random) -> bytes:
    place, other = sorted((chance.randrange(len(content) + 1), chance.randrange(len(content) + 1)))
    kind = chance.randrange(9)
    if kind == 0:
        return content[:place]
    if kind == 1:
        return content[:place] + content[min(other, place + 200) :]
    if kind == 2:
        return content[:place] + content[place : place + 300] * chance.randrange(1, 4) + content[place:]
    if kind == 3:
        return content[:place] + bytes([chance.randrange(256)]) + content[place + 1 :]
    if kind == 4:
        return content.replace(chance.choice((b",", b"\n", b":", b".", b"-", b"2", b'"')), chance.choice(FRAGMENTS))[
            :60_000
        ]
    if kind == 5:
        lines = content.split(b"\n")
        chance.shuffle(lines)
        return b"\n".join(lines)
    if kind == 6:
        return b"\n".join(reversed(content.split(b"\n")))
    return content[:place] + chance.choice(FRAGMENTS) + content[place:]

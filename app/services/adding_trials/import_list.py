"""The logs to import and what is known of each: from a manifest, or a line for each log of a folder."""

import csv
from dataclasses import dataclass, fields, replace
from pathlib import Path

from app.errors import InvalidValue

LOG_ENDINGS = (".csv", ".tsv", ".txt", ".log", ".dat", ".xlsx")
_NUMBERS = ("room_volume_m3", "room_volume_uncertainty_m3", "background_ug_m3")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportLine:
    """One log to import. Names refer to items of the bench; empty: as given for the whole command.

    line : line number for messages; 0 without a manifest
    kind : "unit running" or "empty room"; empty: depends on whether maker and model are given
    unit_on, end : ISO 8601 time, or minutes from the first reading such as 12.5min
    kind_of_cleaning, room_volume_m3, room_volume_uncertainty_m3, aerosol : used for new items
    """

    file: str
    line: int = 0
    kind: str = ""
    maker: str = ""
    model: str = ""
    setting: str = ""
    room: str = ""
    logger: str = ""
    smoke_source: str = ""
    tested_by: str = ""
    filter_state: str = ""
    notes: str = ""
    profile: str = ""
    timezone: str = ""
    box: str = ""
    unit_on: str = ""
    end: str = ""
    background_ug_m3: float | None = None
    kind_of_cleaning: str = ""
    room_volume_m3: float | None = None
    room_volume_uncertainty_m3: float | None = None
    aerosol: str = ""


def read_manifest(path: Path, usual: ImportLine) -> list[ImportLine]:
    """Lines of a manifest; an empty cell takes its value from `usual`. Raises InvalidValue with the line number."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InvalidValue(f"The list {path} cannot be opened: {error.strerror}. Check its name and folder.") from error
    except UnicodeDecodeError as error:
        raise InvalidValue(f"The list {path} cannot be read: {error}. It must be a CSV file in UTF-8.") from error
    lines = text.splitlines()
    semicolons = bool(lines) and lines[0].count(";") > lines[0].count(",")  # as spreadsheets write it in many countries
    rows = csv.DictReader(lines, strict=True, delimiter=";" if semicolons else ",")
    try:
        return _lines(path, rows, usual)
    except csv.Error as error:
        raise InvalidValue(
            f"{path.name}, line {rows.reader.line_num}, is not a valid CSV line: {error}. Correct it."
        ) from error


def _lines(path: Path, rows: "csv.DictReader[str]", usual: ImportLine) -> list[ImportLine]:
    names = {field.name for field in fields(ImportLine)} - {"line"}
    header = [name.strip() for name in rows.fieldnames or []]
    unknown = [name for name in header if name not in names]
    if "file" not in header or unknown:
        found = f"the column {unknown[0]!r}" if unknown else "no column “file”"
        raise InvalidValue(
            f"The list {path.name} has {found}; it needs a column “file” and may have: {', '.join(sorted(names))}."
        )
    rows.fieldnames = header
    lines = [_line(path, rows.line_num, row, usual) for row in rows]
    if not lines:
        raise InvalidValue(f"The list {path.name} names no log; it needs one row per log.")
    return lines


def lines_of_folder(folder: Path, usual: ImportLine) -> list[ImportLine]:
    """A line for each file in a folder that looks like a log, sorted by name. Raises InvalidValue if there is none."""
    if not folder.is_dir():
        raise InvalidValue(f"{folder} is not a folder. Give the folder with the logs, or a list with --manifest.")
    files = sorted(file.name for file in folder.iterdir() if file.suffix.lower() in LOG_ENDINGS and file.is_file())
    if not files:
        raise InvalidValue(f"The folder {folder} contains no logs; files ending in {', '.join(LOG_ENDINGS)} are read.")
    return [replace(usual, file=name) for name in files]


def _line(path: Path, number: int, row: dict[str, str | None], usual: ImportLine) -> ImportLine:
    if None in row:
        raise InvalidValue(f"{path.name}, line {number}, has more cells than the header has columns. Correct it.")
    entries: dict[str, object] = {name: text.strip() for name, text in row.items() if text and text.strip()}
    if "file" not in entries:
        raise InvalidValue(f"{path.name}, line {number}, names no file. Enter one, or remove the line.")
    entries["file"] = str(entries["file"]).replace("\\", "/")  # a list made on Windows
    for name in _NUMBERS:
        if name in entries:
            entries[name] = _number(path, number, name, str(entries[name]))
    return replace(usual, line=number, **entries)  # type: ignore[arg-type]  # the numbers were turned above


def _number(path: Path, number: int, name: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InvalidValue(
            f"{path.name}, line {number}: {name} is {text!r}; enter a number with a decimal point."
        ) from None

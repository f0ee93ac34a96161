"""Reads the raw files of a data package again and compares the result with the readings in the package."""

import csv
from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from io import StringIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import insert
from sqlalchemy.orm import Session

from app.errors import UnreadableLog
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.data_package.open import FILLED_IN, OpenPackage, insert_rows
from app.services.data_package.write import readings_path
from app.services.logs.readings import write_readings
from app.services.store.progress import OnProgress
from app.storage.models.logs import RawFile

# Readings are written with every digit; a unit factor may round the last one.
_SAME_WITHIN = 1e-9


def read_packaged_logs(session: Session, package: OpenPackage, progress: OnProgress) -> dict[str, int]:
    """Reads every raw file again, stores the readings, and notes differences from the package."""
    logs = package.records("data/logs.csv")
    channels: dict[str, list[dict[str, str]]] = defaultdict(list)
    for record in package.records("data/log_channels.csv"):
        channels[record["log_id"]].append(record)
    columns: dict[str, list[dict[str, str]]] = defaultdict(list)
    for record in package.records("data/log_columns.csv"):
        columns[record["log_id"]].append(record)
    paths = {Path(path).stem: path for path in package.paths() if path.startswith("raw/")}
    stored: set[str] = set()
    counted = 0
    for done, log in enumerate(logs, start=1):
        progress(done, len(logs), "Rereading raw files")
        # the same bytes may have two file names; they are packed once, under their hash
        path = paths.get(log["sha256"])
        content = None if path is None else package.content(path)
        if content is None:
            package.wrong("log", f"The raw file of log {log['id']} ({log['file_name']}) is not in the package.")
        if log["sha256"] not in stored:
            stored.add(log["sha256"])
            size = 0 if content is None else len(content)
            row = {"sha256": log["sha256"], "size_bytes": size, "content": b"", "stored_at": FILLED_IN}
            session.execute(insert(RawFile), [row])
        insert_rows(session, "logs", [log])
        of_log = channels[log["id"]]
        if not of_log:
            continue
        insert_rows(session, "log_channels", of_log)
        table = None if content is None else _read(package, log, content, columns[log["id"]])
        if table is not None:
            counted += _store(session, package, log, of_log, table)
    return {"raw_files": len(stored), "logs": len(logs), "readings": counted}


def _read(
    package: OpenPackage, log: dict[str, str], content: bytes, columns: Sequence[dict[str, str]]
) -> LogTable | None:
    choices = ReadingChoices(
        timezone=log["timezone"] or None,
        columns={record["file_header"]: record["channel"] for record in columns},
        units={record["file_header"]: record["file_unit"] for record in columns if record["file_unit"]},
        box=log["box"] or None,
        day_first={"true": True, "false": False}.get(log["day_first"]),
        header_line=int(log.get("header_line") or 0) or None,
    )
    try:
        return read_log(content, log["file_name"], choices)
    except UnreadableLog as error:
        package.wrong("log", f"Log {log['id']} ({log['file_name']}) cannot be reread: {error.message}")
        return None


def _store(
    session: Session,
    package: OpenPackage,
    log: dict[str, str],
    channels: Sequence[dict[str, str]],
    table: LogTable,
) -> int:
    """Stores and compares the readings of the channels in the package."""
    name = f"Log {log['id']} ({log['file_name']})"
    wanted = [record["channel"] for record in sorted(channels, key=lambda record: int(record["position"]))]
    missing = [channel for channel in wanted if channel not in table.levels]
    if missing:
        package.wrong(
            "log", f"{name} was read with the channel {missing[0]}, which is no longer found in the raw file."
        )
    nothing = np.full(len(table.elapsed_s), np.nan)
    levels = [table.levels.get(channel, nothing) for channel in wanted]
    write_readings(session.connection(), int(log["id"]), table.elapsed_s, levels)
    if log["clock_is_known"] == "true" and datetime.fromisoformat(log["started_at"]) != table.started_at:
        package.wrong(
            "log", f"{name} begins at {table.started_at.isoformat()} in the raw file, not {log['started_at']}."
        )
    _compare(package, name, readings_path(int(log["id"])), wanted, table)
    return len(table.elapsed_s)


def _compare(package: OpenPackage, name: str, path: str, wanted: Sequence[str], table: LogTable) -> None:
    head, rows = _numbers(package.content(path))
    if len(rows) != len(table.elapsed_s):
        package.wrong("readings", f"{name} gives {len(table.elapsed_s)} rows of readings; {path} has {len(rows)}.")
        return
    for column, channel in enumerate(head):
        fresh = table.elapsed_s if channel == "elapsed_s" else table.levels.get(channel)
        if fresh is None:
            continue
        apart = ~np.isclose(rows[:, column], fresh, rtol=_SAME_WITHIN, atol=1e-12, equal_nan=True)
        if apart.any():
            at = int(np.argmax(apart))
            package.wrong(
                "readings",
                f"{name}, {channel}: {int(apart.sum())} of {len(rows)} readings in {path} differ from the raw file, "
                f"the first at {table.elapsed_s[at]:g} s, {rows[at, column]:g} instead of {fresh[at]:g}.",
            )


def _numbers(content: bytes) -> tuple[list[str], NDArray[np.float64]]:
    lines = csv.reader(StringIO(content.decode("utf-8"), newline=""))
    head = next(lines)
    rows = [[float(cell) if cell else float("nan") for cell in line] for line in lines]
    return head, np.array(rows, dtype=np.float64).reshape(len(rows), len(head))

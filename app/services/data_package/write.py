"""Writes a zip from which others can recompute every published number (Frictionless Data Package standard).

It holds the raw files of the loggers byte for byte, their readings, units and rooms,
results with uncertainty, the empty-room runs they use, and a description of the method.
"""

import hashlib
import json
import re
import zipfile
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import IO, Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.method import METHOD_NAME, METHOD_VERSION
from app.errors import AlreadyStored, InvalidValue
from app.services.data_package.archive import PackageZip
from app.services.data_package.overview import OVERVIEW_FIELDS, OVERVIEW_KEYS, overview_rows
from app.services.data_package.photos import add_photos
from app.services.data_package.selection import Chosen, choose_rows, rows_of
from app.services.data_package.tables import (
    GIVEN_TABLES,
    RESULT_TABLES,
    PackageField,
    csv_of,
    field_descriptor,
    packaged_columns,
    table_schema,
)
from app.services.data_package.texts import method_text, readme_text
from app.services.logs.logger_profiles import load_profile
from app.services.logs.readings import read_readings
from app.services.store.problems import file_problem_from
from app.services.store.progress import OnProgress, no_progress
from app.storage.durable_files import unfinished_beside
from app.storage.models.bench import Bench, Change
from app.storage.models.logs import Log, LogChannel, RawFile
from app.storage.models.trials import (
    ChannelResult,
)

COLUMN_FIELDS = (
    PackageField("log_id", "integer", True),
    PackageField("file_header", "string", False),
    PackageField("channel", "string", False),
    PackageField("file_unit", "string", False),
)
CHANGE_COLUMNS = ("id", "at", "action", "subject", "subject_id", "field", "before", "after", "why")


@dataclass(frozen=True, slots=True)
class DataPackage:
    """Contents of a package: numbers of units, trials and raw files; `whole` if it is the whole bench."""

    whole: bool
    units: int
    trials: int
    raw_files: int
    resources: int
    digest: str


def write_package(
    session: Session,
    target: IO[bytes],
    unit_ids: Collection[int] | None = None,
    on_progress: OnProgress | None = None,
) -> DataPackage:
    """Writes the package of some units or of the whole bench; the same data give the same bytes.

    Trashed items are excluded. Raises NotFound for an unknown unit, InvalidValue if none is chosen.
    """
    progress = on_progress or no_progress
    chosen = choose_rows(session, unit_ids)
    bench = session.get_one(Bench, 1)
    with PackageZip(target) as package:
        names = _add_documents(package, bench, chosen.whole)
        present = {*GIVEN_TABLES, *RESULT_TABLES}
        for name in (*GIVEN_TABLES, *RESULT_TABLES):
            folder = "data" if name in GIVEN_TABLES else "results"
            columns = packaged_columns(name)
            content = csv_of([column.name for column in columns], session.execute(rows_of(name, chosen)).all())
            package.add_table(_slug(name), f"{folder}/{name}.csv", content, table_schema(name, present), _title(name))
        _add_overview(session, package, chosen)
        _add_changes(session, package, chosen)
        _add_log_columns(session, package, chosen)
        add_photos(session, package, chosen)
        raw = _add_raw_files(session, package, chosen)
        for done, log_id in enumerate(sorted(chosen.logs), start=1):
            _add_readings(session, package, log_id)
            progress(done, len(chosen.logs), "Packing readings")
        descriptor = _descriptor(bench, chosen, package.descriptors, names, _made_by(session, chosen))
        described = (json.dumps(descriptor, ensure_ascii=False, indent=1) + "\n").encode()
        package.write("datapackage.json", described)
        counts = len(chosen.units), len(chosen.trials), raw, len(package.descriptors)
        return DataPackage(chosen.whole, *counts, hashlib.sha256(described).hexdigest())


def write_package_file(
    session: Session, path: Path, unit_ids: Collection[int] | None = None, on_progress: OnProgress | None = None
) -> DataPackage:
    """Writes the package to a file, which appears under its name only when complete. Replaces nothing but a package."""
    if path.exists() and not _is_package(path):
        raise AlreadyStored(f"{path} already exists and is not a data package. It stays; choose another name.")
    unfinished = unfinished_beside(path)
    try:
        with unfinished.open("wb") as target:
            packed = write_package(session, target, unit_ids, on_progress)
        unfinished.replace(path)
    except OSError as error:
        raise file_problem_from(error) or InvalidValue(
            f"{path} cannot be written: {error.strerror}. Choose another location."
        ) from error
    finally:
        if unfinished.exists():  # on a disk that is read-only even the removal of nothing fails
            unfinished.unlink()
    return packed


def _is_package(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as held:
            return "datapackage.json" in held.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def program_version() -> str:
    try:
        return version("hazefall")
    except PackageNotFoundError:
        return "0"


def _add_documents(package: PackageZip, bench: Bench, whole: bool) -> list[str]:
    package.add_file("readme", "README.md", readme_text(bench.name, bench.scenario, bench.invented, whole), "Read me")
    package.add_file("method", "method.md", method_text(bench), "How the numbers are made")
    return ["readme", "method"]


def _add_overview(session: Session, package: PackageZip, chosen: Chosen) -> None:
    rows = overview_rows(session, sorted(chosen.units))
    schema = _schema(OVERVIEW_FIELDS, OVERVIEW_KEYS)
    content = csv_of([field.name for field in OVERVIEW_FIELDS], rows)
    package.add_table("overview", "results/overview.csv", content, schema, "Summary of each setting")


def _add_changes(session: Session, package: PackageZip, chosen: Chosen) -> None:
    """Changes to the units and trials in the package, without names of people."""
    columns = [getattr(Change, name) for name in CHANGE_COLUMNS]
    rows = session.execute(select(*columns).order_by(Change.id)).all()
    subjects = {"trial": chosen.trials, "unit under test": chosen.units}
    kept = [row for row in rows if row.subject_id in subjects.get(row.subject, ())]
    kinds = {"id": "integer", "subject_id": "integer", "at": "datetime"}
    schema = _schema([PackageField(name, kinds.get(name, "string"), name == "id") for name in CHANGE_COLUMNS], ("id",))
    package.add_table("changes", "data/changes.csv", csv_of(CHANGE_COLUMNS, kept), schema, "Change history")


def _add_log_columns(session: Session, package: PackageZip, chosen: Chosen) -> None:
    rows = [row for log_id in sorted(chosen.logs) for row in _columns_of(session, log_id)]
    content = csv_of([field.name for field in COLUMN_FIELDS], rows)
    schema = _schema(COLUMN_FIELDS, ("log_id", "file_header"))
    package.add_table("log-columns", "data/log_columns.csv", content, schema, "Description of the columns")


def _columns_of(session: Session, log_id: int) -> Iterator[tuple[int, str, str, str]]:
    """Header, channel and unit of the columns of a log as read, and the columns excluded by its profile."""
    log = session.get_one(Log, log_id)
    found = session.scalars(select(LogChannel).where(LogChannel.log_id == log_id).order_by(LogChannel.position)).all()
    taken = {channel.file_header: (channel.channel, channel.file_unit) for channel in found if channel.file_header}
    if log.profile_id is not None:
        profile = load_profile(session, log.profile_id)
        for header, channel in profile.columns.items():
            taken.setdefault(header, (channel, profile.units.get(header, "")))
    yield from ((log_id, header, channel, unit) for header, (channel, unit) in sorted(taken.items()))


def _add_raw_files(session: Session, package: PackageZip, chosen: Chosen) -> int:
    names: dict[str, str] = {}
    for sha256, file_name in session.execute(
        select(Log.sha256, Log.file_name).where(Log.id.in_(sorted(chosen.logs))).order_by(Log.id)
    ):
        names.setdefault(sha256, file_name)
    for sha256, file_name in sorted(names.items()):  # one at a time, because all of them may not fit into memory
        content = session.scalar(select(RawFile.content).where(RawFile.sha256 == sha256)) or b""
        package.add_file(f"raw-{sha256[:16]}", raw_path(sha256, file_name), content, f"Raw file {file_name}")
    return len(names)


def raw_path(sha256: str, file_name: str) -> str:
    """Path of a raw file in the package: its hash, because an uploaded file name is not safe.

    >>> raw_path("ab", "../run 1.CSV"), raw_path("ab", "run")
    ('raw/ab.csv', 'raw/ab.bin')
    """
    ending = re.fullmatch(r".*\.([A-Za-z0-9]{1,8})", file_name, re.DOTALL)
    return f"raw/{sha256}.{ending[1].lower() if ending else 'bin'}"


def _add_readings(session: Session, package: PackageZip, log_id: int) -> None:
    if session.scalar(select(LogChannel.log_id).where(LogChannel.log_id == log_id).limit(1)) is None:
        return  # a power-only log, of which only the mean is stored
    readings = read_readings(session, log_id)
    columns = [readings.elapsed_s.tolist(), *(levels.tolist() for levels in readings.levels.values())]
    rows = (["" if value != value else repr(value) for value in row] for row in zip(*columns, strict=True))
    head = ["elapsed_s", *readings.levels]
    content = ("\n".join([",".join(head), *(",".join(row) for row in rows)]) + "\n").encode()
    fields = [field_descriptor(PackageField("elapsed_s", "number", True))]
    fields += [
        {"name": name, "type": "number", "description": f"[{unit}]" if unit else "index of the logger"}
        for name, unit in readings.units.items()
    ]
    schema = {"fields": fields, "missingValues": [""], "primaryKey": ["elapsed_s"]}
    package.add_table(f"readings-{log_id}", readings_path(log_id), content, schema, f"Readings of log {log_id}")


def readings_path(log_id: int) -> str:
    return f"readings/log_{log_id}.csv"


def _made_by(session: Session, chosen: Chosen) -> str:
    """The method of the stored results, which may be older than this program's."""
    versions = session.scalars(
        select(ChannelResult.method_version).where(ChannelResult.trial_id.in_(chosen.trials)).distinct()
    )
    return ", ".join(sorted(versions)) or METHOD_VERSION


def _descriptor(
    bench: Bench, chosen: Chosen, resources: Sequence[dict[str, Any]], documents: Sequence[str], made_by: str
) -> dict[str, Any]:
    return {
        "profile": "data-package",
        "name": _slug(re.sub(r"[^a-z0-9]+", "-", bench.name.lower()).strip("-") or "bench"),
        "title": f"{bench.name}: trials of room air cleaners",
        "description": (f"Demonstration with invented data. {bench.scenario} " if bench.invented else "")
        + "Raw logs, readings and results with their uncertainty. Start with README.md.",
        "hazefall": {
            "invented": bench.invented,
            "whole_bench": chosen.whole,
            "code_version": program_version(),
            "method_name": METHOD_NAME,
            "method_version": made_by,
            "documents": list(documents),
        },
        "resources": list(resources),
    }


def _schema(fields: Sequence[PackageField], keys: Sequence[str]) -> dict[str, Any]:
    return {
        "fields": [field_descriptor(field) for field in fields],
        "missingValues": [""],
        "primaryKey": list(keys),
    }


def _slug(name: str) -> str:
    return name.replace("_", "-")


def _title(name: str) -> str:
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:]

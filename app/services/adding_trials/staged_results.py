"""Cached reading and analysis of a staged upload, in files beside it, so that preview, chart and confirmation do the
work once, in whichever process and across restarts.

The files are a cache only. Each carries the digest of the upload, of the choices and of the program; one that is
missing, damaged or made by another program is made again.
"""

import hashlib
import json
import secrets
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from functools import cache
from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from app.compute.decay.result import ChannelDecay, DecayFit, TimeToClear
from app.compute.signal.logger_noise import LoggerNoise
from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Advice, Note
from app.reading_files.log_table import LogColumn, LogTable, ReadingChoices, SkippedRow
from app.reading_files.read_log import read_log
from app.reading_files.table.first_lines import HEAD_BYTES, first_lines
from app.services.adding_trials.staged_uploads import StagedUpload, StagingArea, staged_content, staged_head
from app.services.logs.readings import LogReadings
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms, analyse_readings

_APP = Path(__file__).parents[2]
_CALCULATES = ("reading_files", "compute", "services/results")
_LIBRARIES = ("numpy", "scipy", "pandas")


@dataclass(frozen=True, slots=True)
class StagedLog:
    """A staged file as read. `key` identifies this reading by this program."""

    area: StagingArea
    upload: StagedUpload
    choices: ReadingChoices
    table: LogTable
    key: str

    def analyse(self, readings: LogReadings, terms: AnalysisTerms) -> AnalysedTrial:
        """As `analyse_readings`, cached for each set of terms."""
        name = f"{_digest(f'{self.key} {terms!r}')}.analysis"
        kept = kept_beside(self.area, self.upload, name)
        if kept is not None:
            return _analysis_of(kept)
        analysed = analyse_readings(readings, terms)
        content = json.dumps(asdict(analysed), default=_plain_number).encode()
        keep_beside(self.area, self.upload, name, content)
        return analysed


def read_staged_log(area: StagingArea, upload: StagedUpload, choices: ReadingChoices) -> StagedLog:
    """Reads a staged file, cached for each set of choices. Raises UnreadableLog if it is not a log."""
    settled = replace(choices, timezone=choices.timezone or choices.assumed_timezone)
    for tried in (choices, settled):
        key = _reading_key(upload, tried)
        kept = kept_beside(area, upload, f"{key}.table")
        table = _table_of(kept) if kept is not None else None
        if table is not None and (tried.timezone == choices.timezone or table.zone_assumed):
            assumed = table.zone_assumed and choices.timezone is None
            return StagedLog(area, upload, choices, replace(table, zone_assumed=assumed), key)
    table = read_log(staged_content(area, upload), upload.file_name, choices)
    key = _reading_key(upload, settled if table.zone_assumed else choices)
    for earlier in area.folder.glob(f"{upload.token}.*.table"):
        earlier.unlink(missing_ok=True)  # the file may be large
    keep_beside(area, upload, f"{key}.table", _table_content(table))
    return StagedLog(area, upload, choices, table, key)


def staged_first_lines(area: StagingArea, upload: StagedUpload, box: str | None, most: int) -> tuple[str, ...]:
    """The first lines of a staged file; those of a workbook are cached, because it is read as a whole."""
    head = staged_head(area, upload, HEAD_BYTES)
    if not head.startswith(b"PK"):
        return first_lines(head, upload.file_name, box, most)
    name = f"{_digest(f'{upload.sha256} {box} {most}')}.lines"
    kept = kept_beside(area, upload, name)
    if kept is not None:
        return tuple(json.loads(kept))
    lines = first_lines(staged_content(area, upload), upload.file_name, box, most)
    keep_beside(area, upload, name, json.dumps(lines).encode())
    return lines


def keep_beside(area: StagingArea, upload: StagedUpload, name: str, content: bytes | memoryview) -> None:
    """Writes a cache file with its digest, atomically for other processes."""
    path = _beside(area, upload, name)
    unfinished = path.with_suffix(f".{secrets.token_hex(8)}")
    try:
        area.folder.mkdir(parents=True, exist_ok=True)  # another machine may have staged the upload
        with unfinished.open("wb") as file:
            file.write(hashlib.sha256(content).digest())
            file.write(content)
        unfinished.replace(path)
    except OSError:  # with a full disk it is computed again
        unfinished.unlink(missing_ok=True)


def kept_beside(area: StagingArea, upload: StagedUpload, name: str) -> bytes | None:
    """A cached value; None if there is none, or it is damaged."""
    try:
        with _beside(area, upload, name).open("rb") as file:
            digest, content = file.read(32), file.read()
    except OSError:
        return None
    return content if hashlib.sha256(content).digest() == digest else None


def _beside(area: StagingArea, upload: StagedUpload, name: str) -> Path:
    return area.folder / f"{upload.token}.{name}"


def _reading_key(upload: StagedUpload, choices: ReadingChoices) -> str:
    chosen = (choices.timezone, choices.box, choices.day_first, choices.header_line, sorted(choices.columns.items()))
    return _digest(repr((_program(), upload.sha256, upload.file_name, chosen, sorted(choices.units.items()))))


@cache
def _program() -> str:
    """Digest of the code that reads and analyses, and of its libraries."""
    digest = hashlib.sha256()
    for folder in _CALCULATES:
        for path in sorted((_APP / folder).rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest() + "".join(version(name) for name in _LIBRARIES)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _table_content(table: LogTable) -> memoryview:
    about = {field.name: getattr(table, field.name) for field in fields(table)}
    del about["elapsed_s"], about["levels"]
    about |= {name: [asdict(each) for each in about[name]] for name in ("columns", "skipped")}
    text = json.dumps(about | {"started_at": table.started_at.isoformat()}, default=_plain_number)
    arrays: dict[str, Any] = {f"level_{place}": table.levels[name] for place, name in enumerate(table.units)}
    arrays |= {"about": np.frombuffer(text.encode(), np.uint8), "elapsed_s": table.elapsed_s}
    file = BytesIO()
    np.savez(file, **arrays)
    return file.getbuffer()  # no copy: a table can be hundreds of megabytes


def _table_of(content: bytes) -> LogTable:
    with np.load(BytesIO(content), allow_pickle=False) as kept:
        about = json.loads(kept["about"].tobytes())
        elapsed_s = kept["elapsed_s"]
        levels = {name: kept[f"level_{place}"] for place, name in enumerate(about["units"])}
    about["started_at"] = datetime.fromisoformat(about["started_at"])
    about["columns"] = tuple(
        LogColumn(**column | {"first_values": tuple(column["first_values"])}) for column in about["columns"]
    )
    about["skipped"] = tuple(SkippedRow(**row) for row in about["skipped"])
    about |= {name: tuple(about[name]) for name in ("boxes", "notes")}
    return LogTable(elapsed_s=elapsed_s, levels=levels, **about)


def _analysis_of(content: bytes) -> AnalysedTrial:
    found = json.loads(content)
    decays = {name: _decay(values) for name, values in found["decays"].items()}
    return AnalysedTrial(decays, found["relative_humidity_pct"])


def _decay(values: dict[str, Any]) -> ChannelDecay:
    clear = values["time_to_clear"]
    return ChannelDecay(
        **values
        | {
            "fit": _fit(values["fit"]),
            "rejected_fit": _fit(values["rejected_fit"]),
            "time_to_clear": TimeToClear(**clear | {"predicted": _measured(clear["predicted"])}),
            "notes": tuple(_note(note) for note in values["notes"]),
            "of_logger": LoggerNoise(tuple(values["of_logger"]["shares"]), values["of_logger"]["trials"]),
            "noise_evidence": tuple(values["noise_evidence"]),
        }
    )


def _fit(values: dict[str, Any] | None) -> DecayFit | None:
    if values is None:
        return None
    measured = {name: _measured(values[name]) for name in ("decay_rate", "background", "amplitude")}
    return DecayFit(**values | measured | {"covariance": tuple(tuple(row) for row in values["covariance"])})


def _note(values: dict[str, Any]) -> Note:
    advice = values["advice"]
    return Note(**values | {"advice": None if advice is None else Advice(**advice)})


def _measured(values: dict[str, Any] | None) -> Measured | None:
    return None if values is None else Measured(**values)


def _plain_number(value: Any) -> Any:
    """Converts numpy numbers to Python's own."""
    return value.item()

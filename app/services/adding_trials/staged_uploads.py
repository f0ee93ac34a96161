"""Staged uploads: files waiting for confirmation. No trial, log or record of the bench refers to them before.

They are files in the data folder, or on a bench with a database server rows of the database, because there several
machines may serve one bench, each with a data folder of its own.
"""

import hashlib
import json
import re
import secrets
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import Engine

from app.errors import InvalidValue, NotFound, TooLarge
from app.reading_files.text.decoding import refuse_large_file
from app.services.adding_trials.staged_on_server import find_file, read_pieces, remove_file, remove_older, send_file
from app.settings import Settings
from app.storage.durable_files import put_in_place, sync_file
from app.storage.models.logs import StagedFile

KEPT_FOR = timedelta(hours=24)
_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")


@dataclass(frozen=True, slots=True)
class StagingArea:
    """Where uploads wait. Its folder also has cached results beside each of them, which every machine makes itself.

    server : database server that holds the files; None: they are in the folder
    """

    folder: Path
    max_upload_bytes: int
    server: Engine | None = None


def staging_area(settings: Settings, engine: Engine) -> StagingArea:
    server = None if engine.dialect.name == "sqlite" else engine
    return StagingArea(settings.data_folder / "uploads", settings.max_upload_bytes, server)


@dataclass(frozen=True, slots=True)
class StagedUpload:
    """A staged file; only its random token gives access."""

    token: str
    file_name: str
    size_bytes: int
    sha256: str
    staged_at: str

    @property
    def expires_at(self) -> datetime:
        return datetime.fromisoformat(self.staged_at) + KEPT_FOR


def stage_upload(
    area: StagingArea, pieces: bytes | Iterable[bytes], file_name: str, now: datetime | None = None
) -> StagedUpload:
    """Stages an uploaded file under a random token until it is confirmed or a day has passed.

    pieces : the content in pieces, so that a large file is never held in memory
    Raises TooLarge above the size limit, InvalidValue where the file is empty.
    """
    at = now or datetime.now(UTC)
    area.folder.mkdir(parents=True, exist_ok=True)
    remove_expired(area, at)
    token = secrets.token_urlsafe(24)
    unfinished = area.folder / f"{token}.unfinished"
    digest, size = hashlib.sha256(), 0
    try:
        with unfinished.open("wb") as file:
            for piece in [pieces] if isinstance(pieces, bytes) else pieces:
                size += len(piece)
                if size > area.max_upload_bytes:
                    raise TooLarge(
                        f"{file_name} is larger than {area.max_upload_bytes} bytes, the upload limit. Split the "
                        "log, or raise HAZEFALL_MAX_UPLOAD_BYTES.",
                        field="log",
                    )
                digest.update(piece)
                file.write(piece)
        if size == 0:
            raise InvalidValue(f"{file_name or 'The file'} is empty. Choose a log with readings.", field="log")
        staged = StagedUpload(token, plain_file_name(file_name), size, digest.hexdigest(), at.isoformat())
        if area.server is not None:
            row = StagedFile(**asdict(staged) | {"staged_at": at})
            send_file(area.server, row, unfinished, area.max_upload_bytes)
            return staged
        about = area.folder / f"{token}.json"
        about.write_text(json.dumps(asdict(staged)), encoding="utf-8")
        sync_file(about)
        put_in_place(unfinished, area.folder / f"{token}.log")
    finally:
        unfinished.unlink(missing_ok=True)
    return staged


def staged_upload(area: StagingArea, token: str, now: datetime | None = None) -> StagedUpload:
    """The staged file of a token. Raises NotFound if there is none (any more)."""
    at = now or datetime.now(UTC)
    if _TOKEN.fullmatch(token):
        staged = _in_folder(area.folder, token) if area.server is None else _on_server(area.server, token)
        if staged is not None and at < staged.expires_at:
            return staged
    raise NotFound("waiting upload", repr(token[:40]))


def _in_folder(folder: Path, token: str) -> StagedUpload | None:
    about = folder / f"{token}.json"
    if not (about.exists() and about.with_suffix(".log").exists()):
        return None
    return StagedUpload(**json.loads(about.read_text(encoding="utf-8")))


def _on_server(server: Engine, token: str) -> StagedUpload | None:
    found = find_file(server, token)
    if found is None:
        return None
    return StagedUpload(token, found.file_name, found.size_bytes, found.sha256, found.staged_at.isoformat())


def staged_content(area: StagingArea, staged: StagedUpload) -> bytes:
    """The bytes of a staged file.

    Raises UnreadableLog for a file above the size limit, before reading it, and InvalidValue if
    its bytes have changed.
    """
    refuse_large_file(staged.size_bytes, staged.file_name)
    content = _first_bytes(area, staged.token, staged.size_bytes)
    if hashlib.sha256(content).hexdigest() != staged.sha256:
        raise InvalidValue(
            f"The upload of {staged.file_name} was changed or damaged while it waited. Upload the file again.",
            field="log",
        )
    return content


def staged_head(area: StagingArea, staged: StagedUpload, most_bytes: int) -> bytes:
    """The first bytes of a staged file, unchecked: for showing them."""
    return _first_bytes(area, staged.token, most_bytes)


def _first_bytes(area: StagingArea, token: str, most_bytes: int) -> bytes:
    if area.server is not None:
        return b"".join(read_pieces(area.server, token, most_bytes))[:most_bytes]
    with (area.folder / f"{token}.log").open("rb") as file:
        return file.read(most_bytes)


def discard_upload(area: StagingArea, token: str) -> None:
    """Removes a staged file and its cache files, after it was stored or discarded."""
    if _TOKEN.fullmatch(token):
        for file in area.folder.glob(f"{token}.*"):
            file.unlink(missing_ok=True)
        if area.server is not None:
            remove_file(area.server, token)


def remove_expired(area: StagingArea, now: datetime | None = None) -> int:
    """Removes staged files older than a day, including interrupted uploads; returns the number of files."""
    oldest = (now or datetime.now(UTC)) - KEPT_FOR
    removed = 0 if area.server is None else remove_older(area.server, oldest)
    for file in area.folder.glob("*"):
        if _age_mark(file) < oldest.timestamp():
            file.unlink(missing_ok=True)
            removed += 1
    return removed


def _age_mark(file: Path) -> float:
    try:
        return file.stat().st_mtime
    except FileNotFoundError:  # another request removed it
        return float("inf")


def plain_file_name(file_name: str) -> str:
    """The base name without control characters; it is displayed, never used as a path."""
    name = re.split(r"[\\/]", file_name)[-1]
    return "".join(letter for letter in name if letter.isprintable()).strip()[:200] or "log"

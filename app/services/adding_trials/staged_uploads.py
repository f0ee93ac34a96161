"""Staged uploads: files waiting for confirmation. Nothing of them is in the store before."""

import hashlib
import json
import re
import secrets
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app.errors import InvalidValue, NotFound, TooLarge
from app.reading_files.text.decoding import refuse_large_file
from app.settings import Settings
from app.storage.durable_files import put_in_place, sync_file

KEPT_FOR = timedelta(hours=24)
_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")


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
    settings: Settings, pieces: bytes | Iterable[bytes], file_name: str, now: datetime | None = None
) -> StagedUpload:
    """Stages an uploaded file under a random token until it is confirmed or a day has passed.

    pieces : the content in pieces, so that a large file is never held in memory
    Raises TooLarge above the size limit, InvalidValue where the file is empty.
    """
    at = now or datetime.now(UTC)
    folder = settings.data_folder / "uploads"
    folder.mkdir(parents=True, exist_ok=True)
    remove_expired(settings, at)
    token = secrets.token_urlsafe(24)
    unfinished = folder / f"{token}.unfinished"
    digest, size = hashlib.sha256(), 0
    try:
        with unfinished.open("wb") as file:
            for piece in [pieces] if isinstance(pieces, bytes) else pieces:
                size += len(piece)
                if size > settings.max_upload_bytes:
                    raise TooLarge(
                        f"{file_name} is larger than {settings.max_upload_bytes} bytes, the upload limit. Split the "
                        "log, or raise HAZEFALL_MAX_UPLOAD_BYTES.",
                        field="log",
                    )
                digest.update(piece)
                file.write(piece)
        if size == 0:
            raise InvalidValue(f"{file_name or 'The file'} is empty. Choose a log with readings.", field="log")
        staged = StagedUpload(token, plain_file_name(file_name), size, digest.hexdigest(), at.isoformat())
        about = folder / f"{token}.json"
        about.write_text(json.dumps(asdict(staged)), encoding="utf-8")
        sync_file(about)
        put_in_place(unfinished, folder / f"{token}.log")
    finally:
        unfinished.unlink(missing_ok=True)
    return staged


def staged_upload(settings: Settings, token: str, now: datetime | None = None) -> StagedUpload:
    """The staged file of a token. Raises NotFound if there is none (any more)."""
    at = now or datetime.now(UTC)
    if _TOKEN.fullmatch(token):
        about = settings.data_folder / "uploads" / f"{token}.json"
        if about.exists() and about.with_suffix(".log").exists():
            staged = StagedUpload(**json.loads(about.read_text(encoding="utf-8")))
            if at < staged.expires_at:
                return staged
    raise NotFound("waiting upload", repr(token[:40]))


def staged_content(settings: Settings, staged: StagedUpload) -> bytes:
    """The bytes of a staged file.

    Raises UnreadableLog for a file above the size limit, before reading it, and InvalidValue if
    its bytes have changed.
    """
    refuse_large_file(staged.size_bytes, staged.file_name)
    content = (settings.data_folder / "uploads" / f"{staged.token}.log").read_bytes()
    if hashlib.sha256(content).hexdigest() != staged.sha256:
        raise InvalidValue(
            f"The upload of {staged.file_name} was changed or damaged on the disk. Upload the file again.", field="log"
        )
    return content


def staged_head(settings: Settings, staged: StagedUpload, most_bytes: int) -> bytes:
    """The first bytes of a staged file, unchecked: for showing them."""
    with (settings.data_folder / "uploads" / f"{staged.token}.log").open("rb") as file:
        return file.read(most_bytes)


def discard_upload(settings: Settings, token: str) -> None:
    """Removes a staged file and its cache files, after it was stored or discarded."""
    if _TOKEN.fullmatch(token):
        for file in (settings.data_folder / "uploads").glob(f"{token}.*"):
            file.unlink(missing_ok=True)


def remove_expired(settings: Settings, now: datetime | None = None) -> int:
    """Removes staged files older than a day, including interrupted uploads; returns the number of files."""
    oldest = ((now or datetime.now(UTC)) - KEPT_FOR).timestamp()
    removed = 0
    for file in (settings.data_folder / "uploads").glob("*"):
        if _age_mark(file) < oldest:
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

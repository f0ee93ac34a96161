"""Published editions in the store: each frozen with the content of its files, so that it can be made again.

An edition is its manifest, `edition.json`: number, time, digest of the edition before, and the SHA-256 of each file.
The SHA-256 of the manifest is the digest of the edition.
"""

import hashlib
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import orjson
from sqlalchemy import func, insert, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, NotFound, StoreProblem
from app.services.publishing.numbers.moved import MovedNumber, moved_of_file
from app.services.publishing.numbers.published_number import PublishedNumber, numbers_of_file
from app.services.publishing.site_folder import MANIFEST
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.id_batches import in_batches
from app.services.units.cursor_lists import ListPart, list_part
from app.storage.models.bench import Change
from app.storage.models.logs import RawFile
from app.storage.models.reviews import Edition as Edition
from app.storage.models.reviews import EditionContent

NUMBERS = "data/numbers.json"
SUBJECT = "edition"
_TOGETHER = 64  # contents in memory at a time
_LEVEL = 6  # of zlib; a higher one takes three times as long for 2 % less


@dataclass(frozen=True, slots=True)
class Manifest:
    """What `edition.json` says. `files` is path to SHA-256; `before` the digest of the one before ("" for the first).

    taken_down : paths of files that only say that something was taken down
    """

    edition: int
    published_at: str
    bench: str
    invented: bool
    method_version: str
    program_version: str
    base_url: str
    before: str
    numbers_sha256: str
    files: dict[str, str] = field(default_factory=dict)
    taken_down: tuple[str, ...] = ()

    @property
    def content(self) -> bytes:
        """The bytes of `edition.json`."""
        return orjson.dumps(self, option=orjson.OPT_INDENT_2 | orjson.OPT_SORT_KEYS) + b"\n"

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.content).hexdigest()

    @property
    def at(self) -> datetime:
        return datetime.fromisoformat(self.published_at)


def moved_path(number: int) -> str:
    """File of what moved in an edition; it never changes once published."""
    return f"editions/{number}/moved.json"


def read_manifest(content: bytes) -> Manifest:
    """Raises ValueError for anything that is not a manifest."""
    try:
        found: dict[str, Any] = orjson.loads(content)
        files = {str(path): str(sha256) for path, sha256 in found.pop("files").items()}
        return Manifest(files=files, taken_down=tuple(found.pop("taken_down")), **found)
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ValueError(f"This is not the manifest of an edition: {error}.") from error


def newest_edition(session: Session) -> Edition | None:
    return session.scalar(select(Edition).order_by(Edition.id.desc()).limit(1))


def get_edition(session: Session, number: int) -> Edition:
    """Raises NotFound for an unknown number."""
    edition = session.get(Edition, number)
    if edition is None:
        raise NotFound("edition", number)
    return edition


def refuse_unknown_edition(session: Session, folder: Path) -> None:
    """Raises AlreadyStored for a folder with an edition that is not in the store, which publishing would replace."""
    path = folder / MANIFEST
    if not path.is_file():
        return
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    if session.scalar(select(Edition.id).where(Edition.digest == digest)) is None:
        raise AlreadyStored(
            f"{folder} holds an edition that is not in the store, and its addresses would be lost. Another "
            "bench published it, or this one after the restored backup. Choose another folder, or move it away."
        )


def list_editions(session: Session, limit: int, cursor: str | None) -> ListPart[Edition]:
    """Editions, newest first."""
    return list_part(session, select(Edition), Edition.id, limit, cursor, newest_first=True)


def all_editions(session: Session) -> Sequence[Edition]:
    """Every edition, newest first."""
    return session.scalars(select(Edition).order_by(Edition.id.desc())).all()


def made_from(session: Session, edition: Edition) -> dict[str, str]:
    """Path to digest of what the files of an edition were made from."""
    found: dict[str, str] = orjson.loads(
        session.scalar(select(Edition.made_from).where(Edition.id == edition.id)) or "{}"
    )
    return found


def first_numbers(session: Session) -> str:
    """Digest of the numbers of the first edition, which identifies the site; "" before it."""
    return session.scalar(select(Edition.numbers_sha256).order_by(Edition.id).limit(1)) or ""


def manifest_of(session: Session, edition: Edition) -> Manifest:
    content = session.scalar(select(Edition.manifest).where(Edition.id == edition.id)) or b""
    if hashlib.sha256(content).hexdigest() != edition.digest:
        raise StoreProblem(
            f"The manifest of edition {edition.id} does not have the digest it was published with; it was changed "
            "in the store. Restore a copy."
        )
    return read_manifest(content)


def numbers_of(session: Session, edition: Edition) -> tuple[PublishedNumber, ...]:
    return numbers_of_file(content_of(session, manifest_of(session, edition).files[NUMBERS]))


def moved_in(session: Session, edition: Edition) -> tuple[MovedNumber, ...]:
    """What moved since the edition before; empty for the first."""
    path = manifest_of(session, edition).files.get(moved_path(edition.id))
    return () if path is None else moved_of_file(content_of(session, path))


def content_of(session: Session, sha256: str) -> bytes:
    """Content of a published file. Raises StoreProblem where it is missing or no longer what was published."""
    packed = session.scalar(select(EditionContent.content).where(EditionContent.sha256 == sha256))
    content = zlib.decompress(packed) if packed is not None else None
    if content is None:
        content = session.scalar(select(RawFile.content).where(RawFile.sha256 == sha256))
    if content is None or hashlib.sha256(content).hexdigest() != sha256:
        raise StoreProblem(
            f"The published file {sha256[:12]}… is no longer in the store as it was published. Restore a copy."
        )
    return content


@dataclass(frozen=True, slots=True)
class FrozenSize:
    """Cost of freezing an edition: new contents, and their bytes in the store."""

    contents: int = 0
    bytes: int = 0


def save_edition(
    session: Session,
    manifest: Manifest,
    read: Callable[[str], bytes],
    *,
    numbers: int,
    moved: int,
    made_from: str = "{}",
) -> FrozenSize:
    """Stores an edition and the content of its files that the store does not have yet.

    read : gives the content of a file by its path
    """
    frozen = _freeze(session, manifest.files, read)
    session.add(
        Edition(
            id=manifest.edition,
            published_at=manifest.at,
            digest=manifest.digest,
            manifest=manifest.content,
            numbers_sha256=manifest.numbers_sha256,
            numbers=numbers,
            moved=moved,
            method_version=manifest.method_version,
            last_change_id=last_change_id(session),
            made_from=made_from,
        )
    )
    record_change(session, AT_THE_DESK, "published", SUBJECT, manifest.edition, "", None, manifest.digest)
    session.flush()
    return frozen


def _freeze(session: Session, files: dict[str, str], read: Callable[[str], bytes]) -> FrozenSize:
    missing = {sha256: path for path, sha256 in sorted(files.items())}
    for batch in in_batches(missing):
        for column in (EditionContent.sha256, RawFile.sha256):
            for known in session.scalars(select(column).where(column.in_(batch))):
                missing.pop(known, None)
    total, waiting = 0, list[dict[str, Any]]()
    for sha256, path in missing.items():
        content = read(path)
        packed = zlib.compress(content, _LEVEL)
        total += len(packed)
        waiting.append({"sha256": sha256, "size_bytes": len(content), "content": packed})
        if len(waiting) == _TOGETHER:
            session.execute(insert(EditionContent), waiting)
            waiting.clear()
    if waiting:
        session.execute(insert(EditionContent), waiting)
    return FrozenSize(len(missing), total)


def last_change_id(session: Session) -> int:
    return session.scalar(select(func.max(Change.id))) or 0


def moment(at: datetime) -> str:
    """A time as the manifest and the feed have it: UTC, whole seconds.

    >>> moment(datetime(2026, 3, 2, 9, 0, 5, 123, tzinfo=UTC))
    '2026-03-02T09:00:05Z'
    """
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

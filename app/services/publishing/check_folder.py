"""Checks a published folder: each file against the manifest, and the manifest against what was published.

Whoever alters a file can hash it again, so the manifest alone proves little. Its digest in the store, or one that was
noted or signed when the edition was published, tells such a folder from the edition.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.publishing.compressed_copies import unpacked
from app.services.publishing.editions import NUMBERS, Manifest, content_of, get_edition, manifest_of, read_manifest
from app.services.publishing.numbers.moved import number_text
from app.services.publishing.numbers.published_number import PublishedNumber, by_key, numbers_of_file
from app.services.publishing.site_folder import MANIFEST, SIGNATURE, is_copy
from app.services.store.check import Finding


@dataclass(frozen=True, slots=True)
class PublishedEdition:
    """An edition as the store has it: its manifest and its numbers."""

    manifest: Manifest
    numbers: dict[str, PublishedNumber]


@dataclass(frozen=True, slots=True)
class FolderCheck:
    """What was checked. `digest` is of the folder's manifest; `compared_with` says what it was compared with."""

    edition: int
    day: str
    digest: str
    files: int
    compared_with: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def sound(self) -> bool:
        return not any(finding.wrong for finding in self.findings)


def edition_for(session: Session, folder: Path) -> PublishedEdition | None:
    """The edition in the store that a folder says it holds; None where the store has none with that number."""
    try:
        edition = get_edition(session, _manifest(folder).edition)
    except NotFound:
        return None
    manifest = manifest_of(session, edition)
    return PublishedEdition(manifest, by_key(numbers_of_file(content_of(session, manifest.files[NUMBERS]))))


def check_folder(
    folder: Path, *, published: PublishedEdition | None = None, digest: str = "", store_asked: bool = False
) -> FolderCheck:
    """Checks each file of a published folder, and names every one that was altered, removed or added.

    published : the edition as the store has it; digest : one that was noted when it was published
    store_asked : a store was asked, so the check says if it has no such edition
    """
    manifest = _manifest(folder)
    found = hashlib.sha256((folder / MANIFEST).read_bytes()).hexdigest()
    findings: list[Finding] = []
    compared: list[str] = []
    expected = manifest
    if published is not None:
        compared.append("the edition in the store")
        expected = published.manifest
        if found != published.manifest.digest:
            findings.append(_other_digest(manifest.edition, found, published.manifest.digest, "the store"))
            findings += _numbers(folder, published)
    elif store_asked:
        words = f"The store has no edition {manifest.edition}, so the folder was not published from it."
        findings.append(Finding(True, MANIFEST, words))
    if digest:
        compared.append("the given digest")
        if found != digest.strip().lower():
            findings.append(_other_digest(manifest.edition, found, digest.strip().lower(), "the given digest"))
    findings += _files(folder, expected)
    return FolderCheck(
        manifest.edition, manifest.published_at[:10], found, len(expected.files), tuple(compared), tuple(findings)
    )


def _manifest(folder: Path) -> Manifest:
    path = folder / MANIFEST
    try:
        return read_manifest(path.read_bytes())
    except FileNotFoundError:
        raise InvalidValue(f"{folder} holds no {MANIFEST}, so it is not a published edition.") from None
    except ValueError as error:
        raise InvalidValue(f"{path} is damaged. {error}") from error


def _other_digest(edition: int, found: str, wanted: str, where: str) -> Finding:
    return Finding(
        True,
        MANIFEST,
        f"{MANIFEST} has the digest {found[:16]}…, but edition {edition} has {wanted[:16]}… by {where}. The folder is "
        "not the edition that was published.",
    )


def _files(folder: Path, manifest: Manifest) -> Iterator[Finding]:
    for path, sha256 in sorted(manifest.files.items()):
        target = folder / path
        if not target.is_file():
            yield Finding(True, path, f"{path} is missing.")
        elif hashlib.sha256(target.read_bytes()).hexdigest() != sha256:
            yield Finding(True, path, f"{path} was altered.")
    names = [target.relative_to(folder).as_posix() for target in sorted(folder.rglob("*")) if target.is_file()]
    pinned = tuple(name.removesuffix(MANIFEST) for name in names if name.endswith(f"/{MANIFEST}"))
    for path in pinned:
        yield Finding(False, path, f"{path} contains its own edition; check it separately.")
    for name in names:
        if name in (MANIFEST, SIGNATURE) or name in manifest.files or name.startswith(pinned):
            continue
        if is_copy(name, manifest.files):
            yield from _copy(folder, name)
        else:
            yield Finding(False, name, f"{name} is not part of the edition.")


def _copy(folder: Path, name: str) -> Iterator[Finding]:
    """Whether a compressed copy holds what its file holds."""
    stem, _, ending = name.rpartition(".")
    content = unpacked(f".{ending}", (folder / name).read_bytes())
    if content is None:
        yield Finding(True, name, f"{name} cannot be unpacked.")
    elif (folder / stem).is_file() and content != (folder / stem).read_bytes():
        yield Finding(True, name, f"{name} is not a copy of {stem}.")


def _numbers(folder: Path, published: PublishedEdition) -> Iterator[Finding]:
    """Every published number that the folder gives differently."""
    try:
        there = by_key(numbers_of_file((folder / NUMBERS).read_bytes()))
    except (OSError, ValueError):
        return
    for key, number in published.numbers.items():
        other = there.get(key)
        if other is None or other.measured != number.measured:
            yield Finding(
                True,
                NUMBERS,
                f"{number.words}: {number_text(other)} in the folder, {number_text(number)} "
                f"{number.unit_of_measure} as published.",
            )

"""Folder of a published site: a new one is written beside it and swapped in, so that readers never see half of one.

Files that did not change are taken over by hard link, with their date. Files of other people stay.
"""

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from app.errors import AlreadyStored, StoreProblem

MANIFEST = "edition.json"
SIGNATURE = f"{MANIFEST}.sig"
_FORMER_MANIFEST = "site-manifest.json"  # of a version before editions
COPY_ENDINGS = (".gz", ".br")


@dataclass(frozen=True, slots=True)
class SiteWritten:
    """Numbers of files written and unchanged; `kept_foreign` are former files of the site that others modified."""

    written: int
    unchanged: int
    kept_foreign: tuple[str, ...]


class SiteFolder:
    """Receives the files of a site one after the other, beside the folder; `swap` puts them in its place.

    What the folder held before is known from its manifest. A file that is not in it is foreign: it stays, and it is
    never overwritten.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder.absolute()
        # both are removed without a question, so no folder of somebody else may have such a name
        self._beside = self._folder.with_name(f".{self._folder.name}.hazefall-unfinished")
        self._replaced = self._folder.with_name(f".{self._folder.name}.hazefall-replaced")
        self._put_back()
        self._before = _read_manifest(self._folder)
        self._now: dict[str, str] = {}
        self._written = self._unchanged = 0
        try:
            shutil.rmtree(self._beside, ignore_errors=True)
            self._beside.mkdir(parents=True)
        except OSError as error:
            raise StoreProblem(
                f"The folder {self._folder} cannot be written: {error.strerror}. Choose another folder."
            ) from error

    @property
    def files(self) -> dict[str, str]:
        """Path to SHA-256 of the files received so far."""
        return self._now

    def held(self) -> dict[str, str]:
        """What the folder holds by its manifest: path to SHA-256."""
        return self._before

    def takes_over(self, path: str, sha256: str) -> bool:
        """Takes a file over from the folder where it is there with these bytes; says whether it did."""
        if self._before.get(path) != sha256 or _hash_of(self._folder / path) != sha256:
            return False
        self._claim(path)
        _link(self._folder / path, self._target(path))
        self._now[path] = sha256
        self._unchanged += 1
        return True

    def put(self, path: str, content: bytes) -> None:
        """Adds a file; one with the same bytes in the folder is taken over."""
        sha256 = hashlib.sha256(content).hexdigest()
        if self.takes_over(path, sha256):
            return
        self._claim(path)
        self._refuse_foreign(path)
        try:
            self._target(path).write_bytes(content)
        except OSError as error:
            raise StoreProblem(
                f"{self._folder / path} cannot be written: {error.strerror}. Make room or choose another folder."
            ) from error
        self._now[path] = sha256
        self._written += 1

    def read(self, path: str) -> bytes:
        """A file received before."""
        return (self._beside / path).read_bytes()

    def add_beside(self, path: str, content: bytes) -> None:
        """Adds a file that is no part of the edition: its manifest, a signature, or a compressed copy."""
        self._target(path).write_bytes(content)

    def add_copy(self, path: str, ending: str, compress: Callable[[bytes], bytes]) -> None:
        """Adds a compressed copy of a file; the folder's own is taken over where the file did not change."""
        copy, there = f"{path}{ending}", self._folder / f"{path}{ending}"
        if there.is_file() and self._before.get(path) == self._now.get(path, "") != "":
            _link(there, self._target(copy))
        else:
            self._target(copy).write_bytes(compress((self._beside / path).read_bytes()))

    @property
    def workplace(self) -> Path:
        """Folder beside the site, for files that are removed again."""
        return self._beside

    def swap(self) -> SiteWritten:
        """Puts the received files in the folder's place."""
        others = list(self._others())
        try:
            for path in others:
                _link(self._folder / path, self._target(path))
            if self._folder.exists():
                self._folder.rename(self._replaced)
            self._beside.rename(self._folder)
        except OSError as error:
            self._put_back()
            raise StoreProblem(
                f"The new site cannot be put in place of {self._folder}: {error.strerror}. The folder is as it was; "
                "close programs that use it, or choose another folder."
            ) from error
        former = [path for path in others if path in self._before]
        foreign = [path for path in former if _hash_of(self._folder / path) != self._before[path]]
        shutil.rmtree(self._replaced, ignore_errors=True)
        return SiteWritten(self._written, self._unchanged, tuple(foreign))

    def discard(self) -> None:
        """Leaves the folder as it was."""
        shutil.rmtree(self._beside, ignore_errors=True)

    def _put_back(self) -> None:
        """After a stop between the two renames, the folder as it was comes back."""
        if self._replaced.exists() and not self._folder.exists():
            self._replaced.rename(self._folder)
        shutil.rmtree(self._replaced, ignore_errors=True)

    def _others(self) -> Iterable[str]:
        """Files in the folder that are not among those received: of other people, or of a former site."""
        own = {MANIFEST, SIGNATURE, _FORMER_MANIFEST}
        for path in sorted(self._folder.rglob("*")) if self._folder.is_dir() else ():
            name = path.relative_to(self._folder).as_posix()
            if path.is_dir() and not path.is_symlink():
                continue
            if name in own or name in self._now or is_copy(name, self._before):
                continue
            yield name

    def _claim(self, path: str) -> None:
        parts = PurePosixPath(path)
        if parts.is_absolute() or ".." in parts.parts or path in self._now:
            raise ValueError(f"The file {path!r} of a site needs a path of its own inside the folder.")

    def _refuse_foreign(self, path: str) -> None:
        there = self._folder / path
        if path in self._before:
            return
        blocking = [part for part in (there, *there.parents) if part.is_relative_to(self._folder)]
        for part in blocking:
            if part.exists() and (part == there or not part.is_dir()):
                self.discard()
                raise AlreadyStored(
                    f"{part} already exists and was not written by this program. Choose an empty folder, or move that "
                    "file away."
                )

    def _target(self, path: str) -> Path:
        target = self._beside / path
        target.parent.mkdir(parents=True, exist_ok=True)
        return target


def _read_manifest(folder: Path) -> dict[str, str]:
    """Path to SHA-256 of what this program wrote there; empty for an empty or foreign folder."""
    if folder.exists() and not folder.is_dir():
        raise StoreProblem(f"{folder} is a file; the site needs a folder. Choose another name.")
    path = next((folder / name for name in (MANIFEST, _FORMER_MANIFEST) if (folder / name).is_file()), None)
    if path is None:
        return {}
    try:
        found = json.loads(path.read_text(encoding="utf-8"))["files"]
        return {str(name): str(digest) for name, digest in found.items()}
    except (ValueError, KeyError, AttributeError, TypeError) as error:
        raise StoreProblem(
            f"{path} is damaged, so the published files in the folder cannot be identified. Publish into an empty "
            "folder."
        ) from error


def is_copy(name: str, files: dict[str, str]) -> bool:
    """Whether a file is a compressed copy of one of these.

    >>> is_copy("a.html.gz", {"a.html": ""}), is_copy("b.tar.gz", {"a.html": ""})
    (True, False)
    """
    stem, dot, ending = name.rpartition(".")
    return f"{dot}{ending}" in COPY_ENDINGS and stem in {*files, MANIFEST}


def _link(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    if source.is_symlink():
        target.symlink_to(os.readlink(source))
        return
    try:
        os.link(source, target)
    except OSError:  # a disk without hard links
        shutil.copy2(source, target)


def _hash_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""

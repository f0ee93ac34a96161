"""Folder of a published site: unchanged files are not rewritten, and only files written here are ever removed."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from app.errors import AlreadyStored, StoreProblem

MANIFEST = "site-manifest.json"


@dataclass(frozen=True, slots=True)
class SiteWritten:
    """Numbers of files written, unchanged and removed; `kept_foreign` were modified by others."""

    written: int
    unchanged: int
    removed: int
    kept_foreign: tuple[str, ...]


class SiteFolder:
    """Receives the files of a site one after the other; `finish` removes those no longer part of it.

    The manifest in the folder holds the hash of every file written here. A file that is not in it is foreign:
    it is never overwritten. A listed file that was modified since is overwritten, but never removed.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._before = self._read_manifest()
        self._now: dict[str, str] = {}
        self._written = self._unchanged = 0

    @property
    def stamp(self) -> int:
        """When the manifest was last written [ns]; 0 where there is none yet."""
        manifest = self._folder / MANIFEST
        return manifest.stat().st_mtime_ns if manifest.is_file() else 0

    def holds(self, path: str) -> bool:
        """Whether the file of an earlier run is there unchanged."""
        told = self._before.get(path)
        return told is not None and _hash_of(self._folder / path) == told

    def put(self, path: str, content: bytes) -> None:
        """Adds a file; it is written only if its bytes differ."""
        self._claim(path)
        target = self._folder / path
        digest = hashlib.sha256(content).hexdigest()
        self._now[path] = digest
        if target.is_file() and target.read_bytes() == content:
            self._unchanged += 1
            return
        if target.exists() and path not in self._before:
            raise AlreadyStored(
                f"{target} already exists and was not written by this program. Choose an empty folder, or move that "
                "file away."
            )
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            unfinished = target.with_name(f"{target.name}.unfinished")
            unfinished.write_bytes(content)
            unfinished.replace(target)
        except OSError as error:
            raise StoreProblem(
                f"{target} cannot be written: {error.strerror}. Make room or choose another folder."
            ) from error
        self._written += 1

    def keep(self, path: str) -> None:
        """Keeps a file that `holds` found unchanged."""
        self._claim(path)
        self._now[path] = self._before[path]
        self._unchanged += 1

    def finish(self) -> SiteWritten:
        removed, foreign = 0, []
        for path in sorted(self._before.keys() - self._now.keys()):
            target = self._folder / path
            if not target.is_file():
                continue
            if _hash_of(target) != self._before[path]:
                foreign.append(path)
                continue
            target.unlink()
            removed += 1
            self._remove_empty(target.parent)
        text = json.dumps({"files": dict(sorted(self._now.items()))}, indent=0) + "\n"
        manifest = self._folder / MANIFEST
        if not manifest.is_file() or manifest.read_text(encoding="utf-8") != text:
            manifest.write_text(text, encoding="utf-8")
        return SiteWritten(self._written, self._unchanged, removed, tuple(foreign))

    def _claim(self, path: str) -> None:
        parts = PurePosixPath(path)
        if parts.is_absolute() or ".." in parts.parts or path in self._now:
            raise ValueError(f"The file {path!r} of a site needs a path of its own inside the folder.")

    def _remove_empty(self, folder: Path) -> None:
        while folder != self._folder and not any(folder.iterdir()):
            folder.rmdir()
            folder = folder.parent

    def _read_manifest(self) -> dict[str, str]:
        path = self._folder / MANIFEST
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            if not path.is_file():
                return {}
            found = json.loads(path.read_text(encoding="utf-8"))["files"]
            return {str(name): str(digest) for name, digest in found.items()}
        except OSError as error:
            raise StoreProblem(
                f"The folder {self._folder} cannot be written: {error.strerror}. Choose another folder."
            ) from error
        except (ValueError, KeyError, AttributeError, TypeError) as error:
            raise StoreProblem(
                f"{path} is damaged, so the published files in the folder cannot be identified. Publish into an empty "
                "folder."
            ) from error


def _hash_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""

"""Writes a zip whose bytes depend on its content alone, and the Data Package descriptor of each file."""

import hashlib
import zipfile
from types import TracebackType
from typing import IO, Any

# The earliest time that a zip can hold, so that the time of writing does not change the bytes.
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_MEDIA = {"csv": "text/csv", "json": "application/json", "md": "text/markdown", "txt": "text/plain"}


class PackageZip:
    """Files are added one after the other; `descriptors` collects what the Data Package standard requires of each."""

    def __init__(self, target: IO[bytes]) -> None:
        self._zip = zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=6)
        self.descriptors: list[dict[str, Any]] = []

    def __enter__(self) -> "PackageZip":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._zip.close()

    def add_table(self, name: str, path: str, content: bytes, schema: dict[str, Any], title: str) -> None:
        """A CSV file with its schema."""
        tabular = {"profile": "tabular-data-resource", "type": "table", "encoding": "utf-8", "schema": schema}
        self.descriptors.append(_descriptor(name, path, content, title) | tabular)
        self.write(path, content)

    def add_file(self, name: str, path: str, content: bytes, title: str) -> None:
        """Any other file, unchanged."""
        as_it_is = {"profile": "data-resource", "type": "file"}
        self.descriptors.append(_descriptor(name, path, content, title) | as_it_is)
        self.write(path, content)

    def write(self, path: str, content: bytes) -> None:
        info = zipfile.ZipInfo(path, _NO_TIME)
        info.compress_type = zipfile.ZIP_DEFLATED
        info.external_attr = 0o644 << 16
        self._zip.writestr(info, content)


def _descriptor(name: str, path: str, content: bytes, title: str) -> dict[str, Any]:
    ending = path.rpartition(".")[2]
    return {
        "name": name,
        "title": title,
        "path": path,
        "format": ending,
        "mediatype": _MEDIA.get(ending, "application/octet-stream"),
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
    }

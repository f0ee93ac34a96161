"""A log file, or the newest one of a folder, that a logger appends to.

A file that becomes shorter, is written anew or is replaced (rotation) begins a new piece; the pieces before it stay.
"""

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

_ENDINGS = (".csv", ".txt", ".tsv", ".tab", ".log", ".dat", "")
_HEAD = 256  # bytes that tell whether a file was written anew


@dataclass(slots=True)
class Piece:
    """Bytes of one file from its beginning. `mtime` is when it was last written [s since 1970]."""

    name: str
    content: bytearray = field(default_factory=bytearray)
    mtime: float = 0.0

    def whole_lines(self) -> bytes:
        """The content without a last line that is still being written."""
        return bytes(self.content[: self.content.rfind(_line_end(self.content)) + len(_line_end(self.content))])


@dataclass(slots=True)
class FollowedLog:
    """The log at a path. `messages` are what was noticed since the last look."""

    path: Path
    pieces: list[Piece] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)
    _file: BinaryIO | None = None
    _now_at: Path | None = None
    _waits: bool = False

    def look(self) -> bool:
        """Reads what was appended; True if there is something new."""
        self.messages.clear()
        present = self._present()
        if present is None:
            if not self._waits:
                self.messages.append(f"{self.path}: nothing to read yet; waiting for the logger.")
            self._waits = True
            return self._read_on()
        self._waits = False
        new = False
        if self._file is None:
            self._open(present)
        elif present != self._now_at or not _same_file(self._file, present):
            new = self._read_on()  # what was appended to the old file before it was replaced
            self.messages.append(
                f"{present.name}: a new file; {len(self.pieces[-1].content)} bytes read before it stay in the run."
            )
            self._open(present)
        elif self._was_shortened():
            kept, size = len(self.pieces[-1].content), present.stat().st_size
            self.messages.append(
                f"{present.name}: the file was truncated or rewritten ({kept} bytes were read, it has {size}). "
                "What was read before stays in the run."
            )
            self._open(present)
        return self._read_on() or new

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None

    def _present(self) -> Path | None:
        """The file to follow: the path itself, or the file of the folder that was written last."""
        if not self.path.is_dir():
            return self.path if self.path.exists() else None
        found = [
            (entry.stat().st_mtime, entry.name, Path(entry.path))
            for entry in os.scandir(self.path)
            if entry.is_file() and not entry.name.startswith(".") and Path(entry.name).suffix.lower() in _ENDINGS
        ]
        return max(found)[2] if found else None

    def _open(self, path: Path) -> None:
        self.close()
        self._file = path.open("rb")
        self._now_at = path
        self.pieces.append(Piece(path.name))

    def _read_on(self) -> bool:
        if self._file is None:
            return False
        added = self._file.read()
        self.pieces[-1].content += added
        self.pieces[-1].mtime = os.fstat(self._file.fileno()).st_mtime
        return bool(added)

    def _was_shortened(self) -> bool:
        assert self._file is not None
        content = self.pieces[-1].content
        if os.fstat(self._file.fileno()).st_size < len(content):
            return True
        here = self._file.tell()
        self._file.seek(0)
        head = self._file.read(min(_HEAD, len(content)))
        self._file.seek(here)
        return head != content[: len(head)]


def _same_file(opened: BinaryIO, path: Path) -> bool:
    one, other = os.fstat(opened.fileno()), path.stat()
    return (one.st_dev, one.st_ino) == (other.st_dev, other.st_ino)


def _line_end(content: bytes | bytearray) -> bytes:
    """How a line ends: two bytes in UTF-16."""
    if content.startswith(b"\xff\xfe"):
        return b"\n\x00"
    return b"\x00\n" if content.startswith(b"\xfe\xff") else b"\n"

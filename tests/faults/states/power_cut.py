"""A power cut, imitated: what a server wrote is traced, and a disk is rebuilt that lost what was not synced.

Of the writes after the last sync of a file a disk may have kept none, all, or any; what a returned sync wrote is there.
"""

import re
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from tests.faults.real_process import Served

_CALL = re.compile(r"^(?P<task>\d+) +(?P<name>\w+)\((?P<fd>\d+)<(?P<path>[^>]*)>(?P<rest>.*)$")
_RESUMED = re.compile(r"^(?P<task>\d+) +<\.\.\. (?P<name>\w+) resumed>")
_WRITTEN = re.compile(r'^, "(?P<bytes>[^"]*)", \d+, (?P<offset>\d+)')
_CUT_OFF_AT = re.compile(r"^, (?P<length>\d+)")
_SYNCS = ("fsync", "fdatasync")


@contextmanager
def traced_writes(server: Served, trace: Path) -> Iterator[None]:
    """Every write and sync of a server while the block runs."""
    calls = "trace=pwrite64,ftruncate,fsync,fdatasync"
    said = trace.with_suffix(".said")
    command = ["strace", "-f", "-y", "-xx", "-s", "1000000", "-e", calls, "-o", str(trace)]
    with said.open("w") as told:
        process = subprocess.Popen([*command, "-p", str(server.process.pid)], stderr=told)
    try:
        while "attached" not in said.read_text():
            assert process.poll() is None, said.read_text()
        yield
    finally:
        process.terminate()
        process.wait(30)


@dataclass
class _File:
    """Content that is safe, and the writes since the last sync."""

    safe: bytearray
    pending: list[tuple[int, bytes | None]] = field(default_factory=list)  # offset, bytes; None: cut off there

    def sync(self) -> None:
        _apply(self.safe, self.pending)
        self.pending.clear()


class Disk:
    """The files of a folder as they were when the trace began, and what became of them."""

    def __init__(self, folder: Path, names: tuple[str, ...]) -> None:
        self._folder = folder
        self._files = {
            name: _File(bytearray((folder / name).read_bytes() if (folder / name).exists() else b"")) for name in names
        }
        self._syncing: dict[str, str] = {}  # of each thread, the file whose sync has not returned

    def follow(self, lines: list[str]) -> None:
        """Takes in some lines of the trace."""
        for line in lines:
            resumed = _RESUMED.match(line)
            if resumed:
                name = self._syncing.pop(resumed["task"], "")
                if name and resumed["name"] in _SYNCS:
                    self._files[name].sync()
                continue
            call = _CALL.match(line)
            path = Path(_plain(call["path"]) if call else "/")
            name = path.name
            if call is None or name not in self._files or path.parent != self._folder:
                continue
            self._take(call, self._files[name], name)

    def _take(self, call: re.Match[str], file: _File, name: str) -> None:
        if call["name"] in _SYNCS:
            if "unfinished" in call["rest"]:
                self._syncing[call["task"]] = name
            else:
                file.sync()
        elif call["name"] == "ftruncate" and (cut := _CUT_OFF_AT.match(call["rest"])):
            file.pending.append((int(cut["length"]), None))
        elif written := _WRITTEN.match(call["rest"]):
            file.pending.append((int(written["offset"]), bytes.fromhex(written["bytes"].replace("\\x", ""))))

    def after_a_cut(self, folder: Path, kept: str, chance: Random) -> Path:
        """The folder after a power cut now. kept : of the writes that were not synced, "none", "all" or "some" """
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        for name, file in self._files.items():
            content = bytearray(file.safe)
            pending = [each for each in file.pending if kept == "all" or (kept == "some" and chance.random() < 0.5)]
            _apply(content, pending)
            if content:
                (folder / name).write_bytes(content)
        return folder

    def lost_writes(self) -> int:
        return sum(len(file.pending) for file in self._files.values())


def _plain(told: str) -> str:
    """A path as strace writes it: each byte in hexadecimal."""
    return bytes.fromhex(told.replace("\\x", "")).decode() if told.startswith("\\x") else told


def _apply(content: bytearray, writes: list[tuple[int, bytes | None]]) -> None:
    for offset, written in writes:
        if written is None:
            del content[offset:]
            continue
        if len(content) < offset:
            content.extend(bytes(offset - len(content)))
        content[offset : offset + len(written)] = written

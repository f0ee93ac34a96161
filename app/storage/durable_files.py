"""Files that survive a power cut: their content and their name reach the disk before anything refers to them."""

import contextlib
import os
from pathlib import Path


def sync_file(path: Path) -> None:
    """Writes the content of a file to the disk itself."""
    handle = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Writes the names in a folder to the disk; systems that cannot open a folder do so by themselves."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network file systems have no such call
            os.fsync(handle)
    finally:
        os.close(handle)


def put_in_place(unfinished: Path, path: Path) -> None:
    """Gives a finished file its name, replacing what has it. After a power cut either the old or the new one is there,
    never half of it.
    """
    sync_file(unfinished)
    unfinished.replace(path)
    sync_folder(path.parent)


def unfinished_beside(path: Path) -> Path:
    """Where this process makes a file before it gets its name; another one that makes the same file has another."""
    return path.with_name(f"{path.name}.{os.getpid()}.unfinished")

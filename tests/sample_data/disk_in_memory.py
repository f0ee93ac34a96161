"""A disk in memory, for tests of one that is full or read-only."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def disk_in_memory(path: Path, megabytes: int) -> Iterator[Path]:
    """A folder that is a file system of its own; the test is skipped where none can be mounted."""
    path.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(path)]
    mounted = subprocess.run(mount, capture_output=True)
    if mounted.returncode:
        pytest.skip(f"a file system cannot be mounted here: {mounted.stderr.decode().strip()}")
    try:
        yield path
    finally:
        subprocess.run(["umount", "-l", str(path)], check=True)

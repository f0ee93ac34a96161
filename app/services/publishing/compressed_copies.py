"""Compressed copies beside published files, for hosts that serve them instead: gzip, and brotli if installed."""

import gzip
import zlib
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from typing import Any

COMPRESSED = (".html", ".css", ".js", ".svg", ".csv", ".json", ".xml", ".txt", ".cff")


def compressors() -> dict[str, Callable[[bytes], bytes]]:
    """Ending of a copy to the function that makes it; the same content gives the same bytes."""
    found: dict[str, Callable[[bytes], bytes]] = {".gz": lambda content: gzip.compress(content, 9, mtime=0)}
    if (brotli := _brotli()) is not None:
        found[".br"] = lambda content: bytes(brotli.compress(content, quality=9))
    return found


def unpacked(ending: str, packed: bytes) -> bytes | None:
    """Content of a copy; None where it cannot be unpacked, or the library for it is not installed."""
    if ending == ".gz":
        try:
            return gzip.decompress(packed)
        except (OSError, EOFError, zlib.error):
            return None
    brotli = _brotli()
    try:
        return None if brotli is None else bytes(brotli.decompress(packed))
    except brotli.error:
        return None


def _brotli() -> Any:
    """The module, where it is installed: the program does not need it."""
    return import_module("brotli") if find_spec("brotli") else None

"""Compressed copies beside published files, for hosts that serve them instead: gzip and brotli."""

import gzip
import zlib
from collections.abc import Callable

import brotli

COMPRESSED = (".html", ".css", ".js", ".svg", ".csv", ".json", ".xml", ".txt", ".cff")


def compressors() -> dict[str, Callable[[bytes], bytes]]:
    """Ending of a copy to the function that makes it; the same content gives the same bytes."""
    return {
        ".gz": lambda content: gzip.compress(content, 9, mtime=0),
        ".br": lambda content: bytes(brotli.compress(content, quality=9)),
    }


def unpacked(ending: str, packed: bytes) -> bytes | None:
    """Content of a copy; None where it cannot be unpacked."""
    try:
        return gzip.decompress(packed) if ending == ".gz" else bytes(brotli.decompress(packed))
    except (OSError, EOFError, zlib.error, brotli.error):
        return None

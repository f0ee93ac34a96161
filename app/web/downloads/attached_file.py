"""Original files as downloads, and a photo's copy to look at."""

import hashlib
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from fastapi import Request
from starlette.responses import Response

from app.web.downloads.response import DOWNLOAD_POLICY


def original_file(
    content: bytes, file_name: str, sha256: str, media_type: str = "application/octet-stream"
) -> Response:
    """The file byte for byte, as a download that a browser never displays."""
    headers = {
        "Content-Disposition": f'attachment; filename="{_plain(file_name)}"; '
        f"filename*=UTF-8''{quote(file_name, safe='')}",
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": DOWNLOAD_POLICY,
        "ETag": f'"{sha256}"',
    }
    return Response(content, media_type=media_type, headers=headers)


def photo_copy(row: Any, size: str, request: Request, draw: Callable[[], bytes]) -> Response:
    """The copy of a photo, or 304 if the browser has it: it follows from the file and the size alone."""
    tag = f'"{hashlib.sha256(f"{row.sha256} {size}".encode()).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, max-age=3600", "Content-Disposition": "inline"}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return Response(draw(), media_type="image/jpeg", headers=headers)


def _plain(file_name: str) -> str:
    """The file name for old clients: ASCII letters, digits and a few characters."""
    return "".join(sign if sign.isascii() and (sign.isalnum() or sign in "._- ") else "_" for sign in file_name)

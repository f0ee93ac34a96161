"""The answer to a request for something to take away: a tag made from its bytes, so that nobody fetches it twice."""

import hashlib

from fastapi import Request
from starlette.responses import Response

# What is taken away carries no script; opened by itself it may load nothing at all.
DOWNLOAD_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


def download_response(
    request: Request, content: bytes, media_type: str, *, file_name: str = "", attached: bool = False
) -> Response:
    """The content under its tag; a client that has these bytes already is told so with 304 and nothing else."""
    tag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "no-cache"}
    if file_name:
        kind = "attachment" if attached else "inline"
        headers |= {
            "Content-Disposition": f'{kind}; filename="{file_name}"',
            "Content-Security-Policy": DOWNLOAD_POLICY,
        }
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=media_type, headers=headers)

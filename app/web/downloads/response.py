"""Response to a download, with an ETag made from its bytes."""

import hashlib

from fastapi import Request
from starlette.responses import Response

# A download carries no script, and may load nothing when opened by itself.
DOWNLOAD_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


def download_response(
    request: Request, content: bytes, media_type: str, *, file_name: str = "", attached: bool = False
) -> Response:
    """The content with its ETag, or 304 if the client has it."""
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

"""Range requests, for seeking in a sound player."""

import re

from starlette.responses import Response

_RANGE = re.compile(r"bytes=(\d{0,15})-(\d{0,15})")


def ranged_answer(content: bytes, media_type: str, asked: str | None, headers: dict[str, str]) -> Response:
    """The whole content, or the one requested range (RFC 9110, 14.1.2); 416 for a range outside it.

    Several ranges, or an invalid header, get the whole content, as the standard allows.
    """
    size = len(content)
    with_ranges = headers | {"Accept-Ranges": "bytes"}
    found = _RANGE.fullmatch(asked.strip()) if asked else None
    if found is None or found.groups() == ("", ""):
        return Response(content, media_type=media_type, headers=with_ranges)
    first, last = found.groups()
    if first == "":  # the last so many bytes
        start, end = max(0, size - int(last)), size - 1
        outside = int(last) == 0
    else:
        start, end = int(first), min(size - 1, int(last) if last else size - 1)
        outside = start >= size or end < start
    if outside:
        return Response(status_code=416, headers=with_ranges | {"Content-Range": f"bytes */{size}"})
    with_ranges |= {"Content-Range": f"bytes {start}-{end}/{size}"}
    return Response(content[start : end + 1], status_code=206, media_type=media_type, headers=with_ranges)

"""Style sheets, scripts and Plotly's script, served locally and cached until they change."""

import hashlib
import re
from functools import lru_cache
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from app.bundled_files import bundled_folder

STATIC_ADDRESS = "/static"
PLOTLY_SCRIPT = "plotly/plotly-basic.min.js"
_A_YEAR = "public, max-age=31536000, immutable"


def static_folder() -> Path:
    return bundled_folder("static")


class CachedStaticFiles(StaticFiles):
    """Static files; URLs with a content hash may be cached for a year."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        hashed = scope["query_string"].startswith(b"v=")
        response.headers["Cache-Control"] = _A_YEAR if hashed else "no-cache"
        return response


def static_address(name: str) -> str:
    """URL of a static file with its content hash, such as `/static/base.css?v=3f2a91c0`.

    `name` is the path below `static/`.
    """
    path = static_folder() / name
    return f"{STATIC_ADDRESS}/{name}?v={_content_hash(path, path.stat().st_mtime_ns)}"


@lru_cache
def styles_left_out() -> tuple[str, ...]:
    """Ids of the style elements that Plotly's script would insert for its maps.

    It inserts none if an element with that id exists. Our pages have no maps, and our policy forbids
    inline styles, so pages with charts contain an empty element for each id.
    """
    script = (static_folder() / PLOTLY_SCRIPT).read_text(encoding="utf-8")
    return tuple(sorted(set(re.findall(r'document\.getElementById\("([0-9a-f]{64})"\)', script))))


@lru_cache
def _content_hash(path: Path, _changed: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]

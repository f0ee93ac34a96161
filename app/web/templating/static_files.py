"""Style, scripts and Plotly's own script, served from this machine and kept by the browser until they change."""

import hashlib
import importlib.util
import re
from functools import lru_cache
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from app.bundled_files import bundled_folder

STATIC_ADDRESS = "/static"
_A_YEAR = "public, max-age=31536000, immutable"


def static_folder() -> Path:
    return bundled_folder("static")


@lru_cache
def plotly_folder() -> Path:
    """Folder of plotly.js inside the installed package, found without importing the package."""
    spec = importlib.util.find_spec("plotly")
    if spec is None or spec.origin is None:
        raise RuntimeError("The package plotly is not installed; charts need it. Install hazefall again with pip.")
    return Path(spec.origin).parent / "package_data"


class CachedStaticFiles(StaticFiles):
    """Static files; an address that carries the hash of the content may be kept for a year."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        hashed = scope["query_string"].startswith(b"v=")
        response.headers["Cache-Control"] = _A_YEAR if hashed else "no-cache"
        return response


def static_address(name: str) -> str:
    """Address of a static file with the hash of its content, such as `/static/base.css?v=3f2a91c0`.

    `name` is the path below `static/`; `plotly/plotly.min.js` is the script of the installed plotly package.
    """
    path = plotly_folder() / name.removeprefix("plotly/") if name.startswith("plotly/") else static_folder() / name
    return f"{STATIC_ADDRESS}/{name}?v={_content_hash(path, path.stat().st_mtime_ns)}"


@lru_cache
def styles_left_out() -> tuple[str, ...]:
    """Ids of the style elements that Plotly's script would put into the page for its maps.

    It puts none in where an element of that id stands already. Our pages draw no maps, and our policy refuses
    styles inside the page, so the pages with charts hold an empty element of each of these ids.
    """
    script = (plotly_folder() / "plotly.min.js").read_text(encoding="utf-8")
    return tuple(sorted(set(re.findall(r'document\.getElementById\("([0-9a-f]{64})"\)', script))))


@lru_cache
def _content_hash(path: Path, _changed: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]

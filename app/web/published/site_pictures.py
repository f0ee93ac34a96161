"""Charts of the published site: an SVG named by the hash of the chart's description, and its numbers.

Drawing takes far longer than describing, so a picture with an unchanged description is not drawn again.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app import figures
from app.figures.renderers.matplotlib_chart import WIDTH_PX, drawn_height, svg_bytes
from app.figures.tables.chart_table import chart_csv
from app.web.downloads.chart_registry import make_chart
from app.web.forms.addresses import query_form
from app.web.published.site_frame import SiteFile, short_hash


@dataclass(frozen=True, slots=True)
class Picture:
    """Paths of a chart's pictures and numbers, and its finding in words.

    narrow : the chart drawn for a phone; the only drawing if `wide` is None
    """

    wide: "Drawing | None"
    narrow: "Drawing"
    numbers: str
    alt_text: str
    title: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """One SVG and its size in CSS pixels."""

    path: str
    width_px: int
    height_px: int


PHONE_PX = 390


Holds = Callable[[str], bool]


def picture_files(
    session: Session, name: str, query: str, file_name: str, holds: Holds, *, only_narrow: bool = False
) -> tuple[Picture | None, list[SiteFile]]:
    """Files of a chart, or None if it is empty. `holds` says whether a file exists from an earlier run.

    only_narrow : one drawing only, for pages that are too numerous for two
    """
    chart = make_chart(session, name, query_form(QueryParams(query)))
    if chart.is_empty:
        return None, []
    mark = short_hash(f"{chart!r}{_renderer()}".encode())
    narrow = Drawing(f"assets/{file_name}-narrow-{mark}.svg", PHONE_PX, drawn_height(chart, PHONE_PX))
    wide = None if only_narrow else Drawing(f"assets/{file_name}-{mark}.svg", WIDTH_PX, drawn_height(chart, WIDTH_PX))
    drawn = [
        SiteFile(one.path, None if holds(one.path) else svg_bytes(chart, one.width_px))
        for one in (wide, narrow)
        if one is not None
    ]
    numbers = SiteFile(f"data/{file_name}.csv", chart_csv(chart).encode())
    return Picture(wide, narrow, numbers.path, chart.alt_text, chart.title), [*drawn, numbers]


@lru_cache
def _renderer() -> str:
    """Fingerprint of the drawing code and its library, because another version may draw differently."""
    import matplotlib  # loaded when used

    folder = Path(figures.__file__ or "").parent
    code = b"".join(path.read_bytes() for path in sorted(folder.rglob("*.py")))
    return f"{matplotlib.__version__} {short_hash(code)}"

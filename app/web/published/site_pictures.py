"""Charts of the published site: an SVG whose name carries the hash of the chart's description, and its numbers.

Drawing takes far longer than describing, so a picture whose description has not changed is not drawn again.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app.figures import matplotlib_chart
from app.figures.chart import Chart
from app.figures.chart_table import chart_csv
from app.figures.matplotlib_chart import svg_bytes
from app.web.addresses import query_form
from app.web.named_charts import make_chart
from app.web.published.site_frame import SiteFile, short_hash


@dataclass(frozen=True, slots=True)
class Picture:
    """What a page needs to show a chart: paths of picture and numbers, its height and its finding in words."""

    picture: str
    numbers: str
    height_px: int
    alt_text: str


Holds = Callable[[str], bool]


def picture_files(
    session: Session, name: str, query: str, file_name: str, holds: Holds
) -> tuple[Picture | None, list[SiteFile]]:
    """The chart of that name, or None where it would be empty. `holds` says whether a file is there from before."""
    chart = make_chart(session, name, query_form(QueryParams(query)))
    if chart.is_empty:
        return None, []
    path = f"assets/{file_name}-{short_hash(f'{chart!r}{_renderer()}'.encode())}.svg"
    drawn = SiteFile(path, None if holds(path) else svg_bytes(chart))
    numbers = SiteFile(f"data/{file_name}.csv", chart_csv(chart).encode())
    return Picture(path, numbers.path, _height(chart), chart.alt_text), [drawn, numbers]


def _height(chart: Chart) -> int:
    return matplotlib_chart.height_px(chart, matplotlib_chart.WIDTH_PX)


@lru_cache
def _renderer() -> str:
    """A mark of the drawing code and its library: another one may draw another picture."""
    import matplotlib  # loaded when used

    folder = Path(matplotlib_chart.__file__).parent
    code = b"".join(path.read_bytes() for path in sorted(folder.glob("*.py")))
    return f"{matplotlib.__version__} {short_hash(code)}"

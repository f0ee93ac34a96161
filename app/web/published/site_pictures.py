"""Charts of the published site, each an SVG at an address that lasts, and its numbers.

Drawing takes far longer than describing, so a picture with an unchanged description is not drawn again.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import orjson
from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app import figures
from app.errors import HazefallError
from app.figures.chart import Chart
from app.figures.layout.chart_layout import WIDTH_PX, chart_layout
from app.figures.renderers.svg_chart import svg_of_layout
from app.figures.tables.chart_table import chart_csv
from app.web.downloads.chart_registry import make_chart
from app.web.forms.addresses import query_form
from app.web.published.chart_values import chart_values
from app.web.published.site_frame import SiteFile, short_hash


@dataclass(frozen=True, slots=True)
class Picture:
    """Paths of a chart's pictures and numbers, and its finding in words.

    narrow : the chart drawn for a phone; the only drawing if `wide` is None
    values : what a reader's pointer shows, as JSON
    """

    wide: "Drawing | None"
    narrow: "Drawing"
    numbers: str
    alt_text: str
    title: str
    values: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """One SVG and its size in CSS pixels. `plot` has its width, and left, top, right and bottom of its plot."""

    path: str
    width_px: int
    height_px: int
    plot: str


PHONE_PX = 390
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Failure:
    """Something that could not be made: what, and why."""

    what: str
    why: str

    @classmethod
    def of(cls, what: str, error: Exception) -> "Failure":
        return cls(what, error.message if isinstance(error, HazefallError) else f"{type(error).__name__}: {error}")


@dataclass(frozen=True, slots=True)
class Pictures:
    """Makes the charts of a page, and collects those that fail, so that the page goes on without them.

    made_from : what the charts of the edition before were made from, by path: the same is not drawn again
    """

    page: str
    made_from: Mapping[str, str]
    failures: list[Failure] = field(default_factory=list)

    def files(
        self, name: str, make: Callable[[], Chart], file_name: str, *, only_narrow: bool = False
    ) -> tuple[Picture | None, list[SiteFile]]:
        """Files of a chart; none if it is empty or failed.

        only_narrow : one drawing only, for pages that are too numerous for two
        """
        try:
            return self._files(make(), file_name, only_narrow)
        except HazefallError:
            raise
        except Exception as error:  # a chart must not take its page with it; it is named at the end
            _LOG.exception("The chart %s of %s failed", name, self.page)
            self.failures.append(Failure.of(f"the chart “{name}” of {self.page}", error))
            return None, []

    def _files(self, chart: Chart, file_name: str, only_narrow: bool) -> tuple[Picture | None, list[SiteFile]]:
        if chart.is_empty:
            return None, []
        mark = short_hash(orjson.dumps(chart, default=repr) + _renderer().encode())
        narrow, of_narrow = self._drawn(chart, mark, f"charts/{file_name}{'' if only_narrow else '-narrow'}", PHONE_PX)
        wide, drawn = None, [of_narrow]
        if not only_narrow:
            wide, of_wide = self._drawn(chart, mark, f"charts/{file_name}", WIDTH_PX)
            drawn = [of_wide, of_narrow]
        # readings are published once, in the raw file of their trial
        plotted = replace(chart, series=tuple(one for one in chart.series if not one.faint))
        numbers = SiteFile(f"data/{file_name}.csv", chart_csv(plotted).encode())
        return Picture(wide, narrow, numbers.path, chart.alt_text, chart.title, chart_values(chart)), [*drawn, numbers]

    def _drawn(self, chart: Chart, mark: str, stem: str, width_px: int) -> tuple[Drawing, SiteFile]:
        """The chart at a width. What it was made from ends in its sizes, which are known without drawing it again."""
        path = f"{stem}.svg"
        made_from, _, sizes = self.made_from.get(path, "").partition(" ")
        height, _, plot = sizes.partition(" ")
        if made_from == mark and plot:
            return Drawing(path, width_px, int(height), plot), SiteFile(path, None, f"{mark} {sizes}")
        layout = chart_layout(chart, width_px)
        ends = (layout.plot.x0, layout.plot.y0, layout.plot.x1, layout.plot.y1)
        drawing = Drawing(path, width_px, round(layout.height), " ".join(f"{one:.0f}" for one in (width_px, *ends)))
        made = SiteFile(path, svg_of_layout(chart, layout), f"{mark} {drawing.height_px} {drawing.plot}")
        return drawing, made


def named_chart(session: Session, name: str, query: str) -> Callable[[], Chart]:
    """What makes the chart of that name."""
    return lambda: make_chart(session, name, query_form(QueryParams(query)))


@lru_cache
def _renderer() -> str:
    """Fingerprint of the drawing code, because another version may draw differently."""
    folder = Path(figures.__file__ or "").parent
    return short_hash(b"".join(path.read_bytes() for path in sorted(folder.rglob("*.py"))))

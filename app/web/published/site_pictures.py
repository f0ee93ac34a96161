"""Charts of the published site, each an SVG at an address that lasts, and its numbers.

Drawing takes far longer than describing, so a picture with an unchanged description is not drawn again.
"""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app import figures
from app.errors import HazefallError
from app.figures.renderers.matplotlib_chart import WIDTH_PX, drawn_height, svg_bytes
from app.figures.tables.chart_table import chart_csv
from app.web.downloads.chart_registry import make_chart
from app.web.forms.addresses import query_form
from app.web.published.lean_svg import lean_svg
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
        self, session: Session, name: str, query: str, file_name: str, *, only_narrow: bool = False
    ) -> tuple[Picture | None, list[SiteFile]]:
        """Files of a chart; none if it is empty or failed.

        only_narrow : one drawing only, for pages that are too numerous for two
        """
        try:
            return self._files(session, name, query, file_name, only_narrow)
        except HazefallError:
            raise
        except Exception as error:  # a chart must not take its page with it; it is named at the end
            _LOG.exception("The chart %s of %s failed", name, self.page)
            self.failures.append(Failure.of(f"the chart “{name}” of {self.page}", error))
            return None, []

    def _files(
        self, session: Session, name: str, query: str, file_name: str, only_narrow: bool
    ) -> tuple[Picture | None, list[SiteFile]]:
        chart = make_chart(session, name, query_form(QueryParams(query)))
        if chart.is_empty:
            return None, []
        mark = short_hash(f"{chart!r}{_renderer()}".encode())
        narrow = Drawing(
            f"charts/{file_name}{'' if only_narrow else '-narrow'}.svg", PHONE_PX, drawn_height(chart, PHONE_PX)
        )
        wide = None if only_narrow else Drawing(f"charts/{file_name}.svg", WIDTH_PX, drawn_height(chart, WIDTH_PX))
        drawn = [
            SiteFile(
                one.path,
                None if self.made_from.get(one.path) == mark else lean_svg(svg_bytes(chart, one.width_px)),
                mark,
            )
            for one in (wide, narrow)
            if one is not None
        ]
        # the readings of a single trial are in its raw file, beside the chart
        plotted = replace(chart, series=tuple(one for one in chart.series if not one.faint)) if only_narrow else chart
        numbers = SiteFile(f"data/{file_name}.csv", chart_csv(plotted).encode())
        return Picture(wide, narrow, numbers.path, chart.alt_text, chart.title), [*drawn, numbers]


@lru_cache
def _renderer() -> str:
    """Fingerprint of the drawing code and its library, because another version may draw differently."""
    import matplotlib  # loaded when used

    folder = Path(figures.__file__ or "").parent
    code = b"".join(path.read_bytes() for path in sorted(folder.rglob("*.py")))
    return f"{matplotlib.__version__} {short_hash(code)}"

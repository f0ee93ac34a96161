"""The template environment: autoescaping is on, and an undefined name is an error."""

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse

from app.bundled_files import bundled_folder
from app.compute.wording.numbers import DASH, interval_text
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.figures.renderers.film_formats import film_formats
from app.web.current_user import role_needed, signed_in_name, user_may
from app.web.templating.compiled_templates import CompiledTemplates
from app.web.templating.headers import CHART_PAGE_POLICY
from app.web.templating.page_context import Shell
from app.web.templating.static_files import static_address, styles_left_out

Render = Callable[..., HTMLResponse]


@lru_cache
def environment() -> Environment:
    """The environment of all templates.

    Functions: `static("base.css")` gives a URL with the content hash; `signed_in_name()` is "" for the local user;
    `may("edit")` says whether the user has the role, and `role_needed("edit")` is the text shown if not;
    `film_formats()` are those that can be made here. Filters: `number(decimals)`, by default three significant digits,
    and a dash for a missing value; `every` formats a sampling interval; `query_pairs` splits a query.
    """
    made = Environment(
        loader=FileSystemLoader(bundled_folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        bytecode_cache=CompiledTemplates(Path(__file__)),
        auto_reload=False,  # else it looks at the file again for each line of a table
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["static"] = static_address
    made.globals["signed_in_name"] = signed_in_name
    made.globals["may"] = user_may
    made.globals["role_needed"] = role_needed
    made.globals["styles_left_out"] = styles_left_out
    made.globals["film_formats"] = film_formats
    made.filters["number"] = number
    made.filters["every"] = interval_text
    made.filters["query_pairs"] = query_pairs
    return made


def query_pairs(query: str) -> list[tuple[str, str]]:
    """Names and values of a query, for hidden fields; the width is omitted because the form has its own field for it.

    >>> query_pairs("unit=1&setting=every&width_px=3")
    [('unit', '1'), ('setting', 'every')]
    """
    return [(name, value) for name, value in parse_qsl(query) if name != "width_px"]


def number(value: float | None, decimals: int | None = None) -> str:
    """Formats a number without uncertainty for a page.

    >>> number(12.3456), number(12.3456, 0), number(None)
    ('12.3', '12', '–')
    """
    if value is None:
        return DASH
    return rounded_text(value, decimals_from_size(value) if decimals is None else decimals)


def render_page(
    template: str, page: Any, shell: Shell, *, status_code: int = 200, charts: bool = False
) -> HTMLResponse:
    """The page as a response. `charts=True` for pages with charts: Plotly's script and the policy it needs."""
    html = environment().get_template(template).render(page=page, shell=replace(shell, charts=charts))
    headers = {"Content-Security-Policy": CHART_PAGE_POLICY} if charts else {}
    return HTMLResponse(html, status_code=status_code, headers=headers)

"""Our own template environment: everything is escaped, and a name that is not there is an error."""

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse

from app.bundled_files import bundled_folder
from app.web.headers import CHART_PAGE_POLICY
from app.web.numbers import decimals_for, number
from app.web.page_context import Shell
from app.web.static_files import static_address

Render = Callable[..., HTMLResponse]


@lru_cache
def environment() -> Environment:
    """The environment of all templates.

    Functions: `static("base.css")` gives the address with the content's hash; filters: `number(decimals)` and
    `decimals_for`.
    """
    made = Environment(
        loader=FileSystemLoader(bundled_folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["static"] = static_address
    made.filters["number"] = number
    made.filters["decimals_for"] = decimals_for
    return made


def render_page(
    template: str, page: Any, shell: Shell, *, status_code: int = 200, charts: bool = False
) -> HTMLResponse:
    """The page as an answer. `charts=True` on pages with a drawing: Plotly's script and the policy it needs."""
    html = environment().get_template(template).render(page=page, shell=replace(shell, charts=charts))
    headers = {"Content-Security-Policy": CHART_PAGE_POLICY} if charts else {}
    return HTMLResponse(html, status_code=status_code, headers=headers)

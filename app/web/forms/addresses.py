"""URLs of a page in another state: the same query with some parameters changed, empty ones omitted."""

from collections.abc import Iterable, Mapping
from urllib.parse import urlencode

from starlette.datastructures import QueryParams

from app.web.forms.typed_form import TypedForm
from app.web.templating.page_context import PageLinks


def query_form(params: QueryParams) -> TypedForm:
    """The query of the URL, read like a form, with errors beside each field."""
    form = TypedForm()
    for name, value in params.multi_items():
        form.values.setdefault(name, []).append(value[:2000])
    return form


def address(path: str, values: Mapping[str, Iterable[str]], **changes: object) -> str:
    """The path with the query `values`, changed by name; None or "" removes a name.

    >>> address("/", {"sort": ["price"], "kind": [""]}, sort=None, units="us")
    '/?units=us'
    >>> address("/curves", {"trial": ["3", "4"]}, scale="log")
    '/curves?trial=3&trial=4&scale=log'
    """
    merged: dict[str, list[str]] = {name: [text for text in texts if text] for name, texts in values.items()}
    for name, value in changes.items():
        if value is None or value == "":
            merged[name] = []
        elif isinstance(value, list | tuple):
            merged[name] = [str(part) for part in value]
        else:
            merged[name] = [str(value)]
    query = urlencode([(name, text) for name, texts in merged.items() for text in texts])
    return f"{path}?{query}" if query else path


def links_of(path: str, form: TypedForm, *, first: int, limit: int, total: int) -> PageLinks:
    """Position of the lines from `first` (counted from zero) in a list of `total`, with the URLs before and after.

    >>> links_of("/", query_form(QueryParams("sort=price")), first=0, limit=100, total=130).next_address
    '/?sort=price&offset=100'
    """
    after = min(first + limit, total)
    return PageLinks(
        first=first + 1 if after > first else 0,
        last=after,
        total=total,
        previous_address=address(path, form.values, offset=max(0, first - limit) or None) if first else "",
        next_address=address(path, form.values, offset=after) if after < total else "",
    )

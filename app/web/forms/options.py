"""Options of a select, made from the items of the bench."""

from collections.abc import Sequence

from app.services.bench.form_options import FormOption
from app.web.templating.page_context import Choice

NEW = "new"  # value for an item that does not exist yet


def select_options(form_options: Sequence[FormOption], chosen: str, none: str, new: str) -> list[Choice]:
    """The options, with "none" before and "new" after them."""
    return [*filter_options(form_options, chosen, none), Choice(NEW, new, chosen == NEW)]


def filter_options(form_options: Sequence[FormOption], chosen: str, every: str) -> list[Choice]:
    """The options as a filter, with "all" before them."""
    return [
        Choice("", every, not chosen),
        *(Choice(str(offer.id), offer.words, str(offer.id) == chosen) for offer in form_options),
    ]


def plain_choices(values: Sequence[str], chosen: str, words: dict[str, str] | None = None) -> list[Choice]:
    """Options whose values are their own labels, or have a label in a table."""
    return [Choice(value, (words or {}).get(value, value), value == chosen) for value in values]

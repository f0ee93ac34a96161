"""Choices of a form made from what the bench offers."""

from collections.abc import Sequence

from app.services.bench.form_options import FormOption
from app.web.templating.page_context import Choice

NEW = "new"  # the choice of something that is not there yet


def offered(offers: Sequence[FormOption], chosen: str, none: str, new: str) -> list[Choice]:
    """The offers, with the choice of none before and the choice of a new one after them."""
    return [
        Choice("", none, not chosen),
        *(Choice(str(offer.id), offer.words, str(offer.id) == chosen) for offer in offers),
        Choice(NEW, new, chosen == NEW),
    ]


def narrowing(offers: Sequence[FormOption], chosen: str, every: str) -> list[Choice]:
    """The offers as a filter, with the choice of every one before them."""
    return [
        Choice("", every, not chosen),
        *(Choice(str(offer.id), offer.words, str(offer.id) == chosen) for offer in offers),
    ]


def plain_choices(values: Sequence[str], chosen: str, words: dict[str, str] | None = None) -> list[Choice]:
    """Values that name themselves, or have their words in a table."""
    return [Choice(value, (words or {}).get(value, value), value == chosen) for value in values]

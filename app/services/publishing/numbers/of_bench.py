"""Collects every published number of the bench: of each setting, of each trial, and as entered."""

from sqlalchemy.orm import Session

from app.services.publishing.numbers.entered_numbers import entered_numbers
from app.services.publishing.numbers.published_number import PublishedNumber, by_key
from app.services.publishing.numbers.setting_numbers import setting_numbers
from app.services.publishing.numbers.trial_numbers import KnownNumbers, trial_numbers


def published_numbers(session: Session, known: KnownNumbers | None = None) -> tuple[PublishedNumber, ...]:
    """All published numbers, by key. `known` are those of trials that have not changed."""
    found = [*setting_numbers(session), *trial_numbers(session, known or {}), *entered_numbers(session)]
    return tuple(number for _, number in sorted(by_key(found).items()))

"""News for readers of published results: one item for all changes made in one go."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.wording.numbers import counted, listed
from app.services.history.change_history import CONSEQUENCE, DescribedChange, described
from app.services.history.change_labels import field_label
from app.services.history.reader_changes import PRICE_OF_PART, TRIAL, of_interest
from app.storage.models.bench import Change

IN_ONE_GO = timedelta(minutes=10)
_ROWS_OF_ONE = 40  # rows of the record read per news item
_MOST_NUMBERS = 3
_RATE = "clean_air_delivery_rate_m3_per_h"
_OF_TRIAL = {
    "excluded": "is excluded from the results",
    "restored": "is included again",
    "trashed": "was removed",
    "untrashed": "is back",
}
_NOUNS = {
    "sound level": "sound level",
    "power": "power measurement",
    "claim": "claim of the maker",
    "rating": "certified rate",
    "ozone": "ozone test",
    "consumable": "consumable",
}


@dataclass(frozen=True, slots=True)
class News:
    """One news item. `id` is the earliest change in it, so that it stays the same when more is added."""

    id: int
    at: datetime
    unit_id: int | None
    trial_id: int | None
    title: str
    words: str


def reader_news(session: Session, limit: int) -> tuple[News, ...]:
    """The latest news, newest first."""
    rows = session.scalars(
        select(Change).where(of_interest()).order_by(Change.id.desc()).limit(limit * _ROWS_OF_ONE)
    ).all()
    return tuple(_news(group) for group in _groups(described(session, rows)))[:limit]


def _groups(changes: Sequence[DescribedChange]) -> list[list[DescribedChange]]:
    """Changes of one item that were made in one go, newest first."""
    groups: list[list[DescribedChange]] = []
    for change in changes:
        last = groups[-1] if groups else None
        if (
            last is not None
            and (last[-1].subject, last[-1].subject_id) == (change.subject, change.subject_id)
            and last[-1].at - change.at <= IN_ONE_GO
        ):
            last.append(change)
        else:
            groups.append([change])
    return groups


def _news(group: list[DescribedChange]) -> News:
    changes = list(reversed(group))
    sentences = _of_trial(changes) if changes[0].subject == TRIAL else _of_unit(changes)
    why = next((change.why for change in changes if change.why), "")
    words = " ".join(sentences) + (f" Why: {why}." if why else "")
    return News(
        id=changes[0].id,
        at=changes[-1].at,
        unit_id=changes[0].unit_id,
        trial_id=changes[0].trial_id,
        title=sentences[0].rstrip("."),
        words=words.replace("..", "."),
    )


def _of_trial(changes: list[DescribedChange]) -> list[str]:
    name = changes[0].name
    done = [change.action for change in changes]
    sentences = [f"{name} was analysed for the first time."] if "added" in done else []
    sentences += [f"{name} {_OF_TRIAL[action]}." for action in done if action in _OF_TRIAL]
    marks = [change for change in changes if change.action == "changed"]
    if marks:
        moved = listed([_from_to(field_label(change.field).strip(), change) for change in marks[:_MOST_NUMBERS]])
        sentences.append(f"{name} was corrected: {moved}.")
    results = [change for change in changes if change.action == CONSEQUENCE]
    if results and "added" not in done:
        rates = [change for change in results if change.field.endswith(_RATE)] or results
        moved = listed([_from_to(field_label(change.field).strip(), change) for change in rates[:_MOST_NUMBERS]])
        more = f", and {counted(len(results) - _MOST_NUMBERS, 'more number')}" if len(results) > _MOST_NUMBERS else ""
        sentences.append(f"{'' if sentences else f'{name}: '}its results changed: {moved}{more}.")
    return [sentence[0].upper() + sentence[1:] for sentence in sentences]


def _from_to(what: str, change: DescribedChange) -> str:
    before, after = change.before, change.after
    if before and after:
        return f"{what} from {before} to {after}"
    return f"{what} is now {after}" if after else f"{what} is no longer set (was {before})"


def _of_unit(changes: list[DescribedChange]) -> list[str]:
    name = changes[0].name
    sentences = []
    if any(change.action == "added" and not change.field for change in changes):
        sentences.append(f"{name} was added.")
    sentences += [f"{name} {_OF_TRIAL[change.action]}." for change in changes if change.action in _OF_TRIAL]
    for change in changes:
        if change.field == "price" or change.field.startswith(PRICE_OF_PART):
            part = change.field.removeprefix("price").removeprefix(" of ")
            of = f"{part} of {name}" if part else name
            gone = f"The price of {of} was removed: {change.before}."
            sentences.append(f"The price of {of}: {change.after}." if change.after else gone)
        elif change.field == "verdict":
            done = "was withdrawn" if change.action == "withdrawn" else f"was published ({change.after})"
            sentences.append(f"The verdict on {name} {done}.")
        elif change.action == "taken back" and change.field in _NOUNS:
            sentences.append(f"A {_NOUNS[change.field]} of {name} was removed: {change.before_short}.")
        elif change.action == "changed":
            sentences.append(f"{name} was corrected: {_from_to(field_label(change.field).strip(), change)}.")
    for field, noun in _NOUNS.items():
        found = [change for change in changes if change.field == field and change.action == "added"]
        if len(found) == 1:
            sentences.append(f"A {noun} of {name} was recorded: {found[0].after}.")
        elif found:
            sentences.append(f"{counted(len(found), noun, _plural(noun))} of {name} were recorded.")
    return sentences or [f"{name}: {changes[0].what}."]


def _plural(noun: str) -> str:
    """
    >>> _plural("measurement of power"), _plural("claim of the maker"), _plural("consumable")
    ('measurements of power', 'claims of the maker', 'consumables')
    """
    first, of, rest = noun.partition(" of ")
    return f"{first}s{of}{rest}"

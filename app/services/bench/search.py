"""Case-insensitive search for units, trials, claims, ratings, notes and changes.

An item matches if it contains every word. A word has no blanks, so it is within one column: fields that many trials
share, such as their unit, are searched once and not with each trial.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Text, and_, case, func, literal, or_, select, true, type_coerce
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.errors import InvalidValue
from app.services.history.change_history import described
from app.services.logs.trial_kinds import KINDS_OF_TRIAL
from app.storage.models.bench import Change
from app.storage.models.loggers import Logger
from app.storage.models.logs import Log
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.rooms import Room
from app.storage.models.trials import ChannelResult, ResultNote, Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest
from app.storage.words_in_columns import contains_word

MOST_FOUND = 20
MOST_LETTERS = 200
_OF_TIMES = set("0123456789-:.tz")  # letters of a stored time
_OF_HASHES = set("0123456789abcdef")
_DIGITS_OF_ID = 10  # of a number that is too large for one
_FEWEST_OF_HASH = 4  # a log is found by the beginning of its hash


@dataclass(frozen=True, slots=True)
class Found:
    """One result: title, matching text, and URL of its page."""

    name: str
    words: str
    address: str


@dataclass(frozen=True, slots=True)
class FoundKind:
    """Results of one kind, at most `MOST_FOUND`; `more` if there are others."""

    kind: str
    noun: str
    things: tuple[Found, ...]
    more: bool


def search_bench(session: Session, asked: str) -> tuple[FoundKind, ...]:
    """Items that contain every word, by kind; kinds without results are omitted.

    Raises InvalidValue for a search text that is too long.
    """
    words = list(dict.fromkeys(asked.lower().split()))
    if len(asked) > MOST_LETTERS:
        raise InvalidValue(
            f"The search has {len(asked)} characters; at most {MOST_LETTERS} are allowed. Use fewer words.",
            field="q",
        )
    if not words:
        return ()
    kinds = []
    for kind, noun, look in _KINDS:
        found = list(look(session, words))
        if found:
            kinds.append(FoundKind(kind, noun, tuple(found[:MOST_FOUND]), len(found) > MOST_FOUND))
    return tuple(kinds)


def _all_in(words: Sequence[str], *columns: Any) -> ColumnElement[bool]:
    """Every word is in one of the columns."""
    return and_(*(_in_one(word, *columns) for word in words))


def _in_one(word: str, *columns: Any) -> ColumnElement[bool]:
    return or_(*(contains_word(column, word) for column in columns))


def _with_one(key: InstrumentedAttribute[int], word: str, *columns: Any) -> Any:
    """Keys of the rows with the word in one column."""
    return select(key).where(_in_one(word, *columns))


def _units(session: Session, words: Sequence[str]) -> Iterator[Found]:
    unit = UnitUnderTest
    rows = session.execute(
        select(unit.id, unit.maker, unit.model, unit.kind, unit.notes)
        .where(unit.trashed_at.is_(None), _all_in(words, unit.maker, unit.model, unit.kind, unit.notes))
        .order_by(unit.maker, unit.model)
        .limit(MOST_FOUND + 1)
    )
    for row in rows:
        yield Found(f"{row.maker} {row.model}", _joined(row.kind, row.notes), f"/units/{row.id}")


def _trials(session: Session, words: Sequence[str]) -> Iterator[Found]:
    unit = UnitUnderTest
    order = (case((Trial.id == _number_in(words), 0), else_=1), Trial.started_at.desc(), Trial.id.desc())
    found = (
        select(Trial.id)
        .where(Trial.trashed_at.is_(None), *(_of_trial(session, word) for word in words))
        .order_by(*order)
        .limit(MOST_FOUND + 1)
    )
    rows = session.execute(
        select(
            Trial.id, Trial.kind, Trial.started_at, Trial.notes, unit.maker, unit.model, SpeedSetting.name, Room.name
        )
        .outerjoin(unit, unit.id == Trial.unit_under_test_id)
        .outerjoin(SpeedSetting, SpeedSetting.id == Trial.setting_id)
        .join(Room, Room.id == Trial.room_id)
        .where(Trial.id.in_(found))
        .order_by(*order)
    )
    for trial_id, kind, at, notes, maker, model, setting, room in rows:
        name = f"{maker} {model}, {setting}" if maker else f"{kind}, {room}"
        yield Found(f"Trial {trial_id}: {name}", _joined(at.date().isoformat(), room, notes), f"/trials/{trial_id}")


def _of_trial(session: Session, word: str) -> ColumnElement[bool]:
    """The word is in the trial itself, or in its unit, room, logger, source or log.

    There may be tens of thousands of trials, so each is compared only with what can hold the word: units and rooms
    where one of them has it, days and numbers for digits.
    """
    unit = UnitUnderTest
    texts = Trial.tested_by, Trial.filter_state, Trial.notes, Trial.excluded_why
    found: list[ColumnElement[bool]] = []
    for key, with_word in (
        (Trial.unit_under_test_id, _with_one(unit.id, word, unit.maker, unit.model)),
        (Trial.setting_id, _with_one(SpeedSetting.id, word, SpeedSetting.name)),
        (Trial.room_id, _with_one(Room.id, word, Room.name)),
        (Trial.logger_id, _with_one(Logger.id, word, Logger.name)),
    ):
        if session.scalar(with_word.limit(1)) is not None:
            found.append(key.in_(with_word))
    if kinds := [kind for kind in KINDS_OF_TRIAL if word in kind]:
        found.append(Trial.kind.in_(kinds))
    if word in "trial":
        found.append(true())
    if word.isdecimal() and len(word) < _DIGITS_OF_ID:
        found.append(Trial.id == int(word))
    if _may_be_of_a_time(word):
        found.append(contains_word(type_coerce(Trial.started_at, Text), word))
    # last, because they are looked at only where nothing above holds; most texts are empty, which is seen faster than
    # that they do not hold the word
    found += [and_(text != "", contains_word(text, word)) for text in texts]
    found.append(Trial.log_id.in_(_with_one(Log.id, word, Log.file_name)))
    if len(word) >= _FEWEST_OF_HASH and set(word) <= _OF_HASHES:
        found.append(Trial.log_id.in_(select(Log.id).where(Log.sha256 >= word, Log.sha256 < f"{word}g")))
    return or_(*found)


def _may_be_of_a_time(word: str) -> bool:
    """Whether a word can be part of a stored time; a number alone can be a year, or one or two digits.

    >>> [_may_be_of_a_time(word) for word in ("2026", "2026-05", "12:3", "7", "0026", "123", "may")]
    [True, True, True, True, False, False, False]
    """
    if word.isdecimal():
        return len(word) < 3 or (len(word) == 4 and word[:2] in ("19", "20"))
    return set(word) <= _OF_TIMES


def _number_in(words: Sequence[str]) -> int:
    """The trial number, if the search is one, so that this trial comes first; otherwise 0."""
    numbers = [word for word in words if word.isdecimal() and len(word) < _DIGITS_OF_ID]
    return int(numbers[0]) if len(numbers) == 1 and set(words) <= {"trial", numbers[0]} else 0


def _claims(session: Session, words: Sequence[str]) -> Iterator[Found]:
    unit = UnitUnderTest
    rows = session.execute(
        select(unit.id, unit.maker, unit.model, Claim.wording, Claim.where_seen, Claim.seen_on)
        .join(unit, unit.id == Claim.unit_under_test_id)
        .where(
            unit.trashed_at.is_(None),
            _all_in(words, unit.maker, unit.model, Claim.wording, Claim.where_seen, literal("claim")),
        )
        .order_by(unit.maker, unit.model, Claim.id)
        .limit(MOST_FOUND + 1)
    )
    for row in rows:
        where = _joined(row.where_seen, row.seen_on.isoformat())
        yield Found(f"“{row.wording}”", f"{row.maker} {row.model}, {where}", f"/units/{row.id}/claims")


def _ratings(session: Session, words: Sequence[str]) -> Iterator[Found]:
    unit = UnitUnderTest
    rows = session.execute(
        select(unit.id, unit.maker, unit.model, Rating.aerosol, Rating.source, Rating.seen_on)
        .join(unit, unit.id == Rating.unit_under_test_id)
        .where(
            unit.trashed_at.is_(None),
            _all_in(
                words, unit.maker, unit.model, Rating.aerosol, Rating.source, Rating.test_standard, literal("rating")
            ),
        )
        .order_by(unit.maker, unit.model, Rating.id)
        .limit(MOST_FOUND + 1)
    )
    for row in rows:
        name = f"{row.maker} {row.model}: certified {row.aerosol} rate"
        yield Found(name, _joined(row.source, row.seen_on.isoformat()), f"/units/{row.id}/ratings")


def _notes(session: Session, words: Sequence[str]) -> Iterator[Found]:
    """Notes of the analysis; the same text for several channels of a trial is listed once."""
    rows = session.execute(
        select(ChannelResult.trial_id, func.min(ChannelResult.channel), ResultNote.message)
        .join(ChannelResult, ChannelResult.id == ResultNote.result_id)
        .join(Trial, Trial.id == ChannelResult.trial_id)
        .where(Trial.trashed_at.is_(None), _all_in(words, ResultNote.message))
        .group_by(ChannelResult.trial_id, ResultNote.message)
        .order_by(ChannelResult.trial_id.desc(), ResultNote.message)
        .limit(MOST_FOUND + 1)
    )
    for trial_id, channel, message in rows:
        yield Found(f"Trial {trial_id}, note", message, f"/trials/{trial_id}?channel={channel}")


def _changes(session: Session, words: Sequence[str]) -> Iterator[Found]:
    columns = (Change.subject, Change.field, Change.before, Change.after, Change.why, Change.who, Change.action)
    rows = session.scalars(
        select(Change).where(_all_in(words, *columns)).order_by(Change.id.desc()).limit(MOST_FOUND + 1)
    ).all()
    for change in described(session, rows):
        words_of = _joined(change.after or "", change.why)
        name = f"{change.at.date().isoformat()}: {change.name}, {change.what}"
        yield Found(name, words_of, f"/changes?cursor={change.id + 1}#change-{change.id}")


def _joined(*parts: str) -> str:
    return " · ".join(part for part in parts if part)


_KINDS: tuple[tuple[str, str, Callable[[Session, Sequence[str]], Iterator[Found]]], ...] = (
    ("Units", "unit", _units),
    ("Trials", "trial", _trials),
    ("Claims", "claim", _claims),
    ("Certified rates", "certified rate", _ratings),
    ("Notes on results", "note", _notes),
    ("Changes", "change", _changes),
)

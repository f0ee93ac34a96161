"""List of trials, filtered and paged."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Select, distinct, func, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.errors import InvalidValue
from app.services.logs.trial_kinds import KINDS_OF_TRIAL
from app.services.units.cursor_lists import ListPart, list_part
from app.storage.models.trials import ChannelResult, Trial

STATES = ("kept", "excluded", "trashed")


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialFilter:
    """Filter of trials; empty: all outside the trash.

    state : "kept" (combined), "excluded" (listed, not combined) or "trashed"
    """

    unit_under_test_id: int | None = None
    setting_id: int | None = None
    room_id: int | None = None
    kind: str = ""
    state: str = ""


@dataclass(frozen=True, slots=True)
class ListedTrial:
    """A listed trial with the result of one channel; None if it has none of that channel."""

    trial: Trial
    result: ChannelResult | None


@dataclass(frozen=True, slots=True)
class TrialCount:
    """Number of trials in the whole list, by kind, their number of units, and their dates.

    first, last : start of the first and of the last run; None without trials
    """

    trials: int
    with_unit: int
    units: int
    excluded: int
    first: datetime | None
    last: datetime | None

    @property
    def empty_rooms(self) -> int:
        return self.trials - self.with_unit


def count_trials(session: Session, wanted: TrialFilter) -> TrialCount:
    """Counts the filtered trials. Raises InvalidValue as `filtered_trials`."""
    statement = filtered_trials(wanted).with_only_columns(
        func.count(),
        func.count(Trial.unit_under_test_id),
        func.count(distinct(Trial.unit_under_test_id)),
        func.count(Trial.excluded_at),
        func.min(Trial.started_at),
        func.max(Trial.started_at),
    )
    return TrialCount(*session.execute(statement).one())


def filtered_trials(wanted: TrialFilter) -> Select[Trial]:
    """The statement for the filtered trials. Raises InvalidValue for an unknown kind or state."""
    statement = select(Trial)
    if wanted.kind:
        _one_of(wanted.kind, KINDS_OF_TRIAL, "kind")
        statement = statement.where(Trial.kind == wanted.kind)
    if wanted.state == "trashed":
        statement = statement.where(Trial.trashed_at.is_not(None))
    else:
        statement = statement.where(Trial.trashed_at.is_(None))
    if wanted.state:
        _one_of(wanted.state, STATES, "state")
    if wanted.state == "kept":
        statement = statement.where(Trial.excluded_at.is_(None))
    if wanted.state == "excluded":
        statement = statement.where(Trial.excluded_at.is_not(None))
    for column, value in (
        (Trial.unit_under_test_id, wanted.unit_under_test_id),
        (Trial.setting_id, wanted.setting_id),
        (Trial.room_id, wanted.room_id),
    ):
        if value is not None:
            statement = statement.where(column == value)
    return statement


def list_trials(
    session: Session, wanted: TrialFilter, channel: str, limit: int = 100, cursor: str | None = None
) -> ListPart[ListedTrial]:
    """Trials, newest first, each with the result of one channel."""
    statement = filtered_trials(wanted).options(
        joinedload(Trial.unit_under_test),
        joinedload(Trial.setting),
        joinedload(Trial.room),
        selectinload(Trial.results.and_(ChannelResult.channel == channel)),
    )
    part = list_part(session, statement, Trial.id, limit, cursor, newest_first=True)
    rows = tuple(ListedTrial(trial, trial.results[0] if trial.results else None) for trial in part.rows)
    return ListPart(rows, part.next_cursor)


def _one_of(value: str, known: tuple[str, ...], field: str) -> None:
    if value not in known:
        raise InvalidValue(f"The {field} is {value[:40]!r}; choose one of: {', '.join(known)}.", field=field)

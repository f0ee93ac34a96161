"""Stored campaigns: made from an answer, listed, read with the trials that tick off their lines, and deleted."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, and_, func, select
from sqlalchemy.orm import Session, selectinload

from app.compute.planning.wording import answer_text
from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.adding_trials.plans.answer import PlanView
from app.services.adding_trials.plans.definitions import NewPlan
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.store.audit import AT_THE_DESK, acting_name, record_change
from app.services.store.checked_values import required_text
from app.services.store.entry_fields import checked_entry
from app.storage.models.bench import Bench
from app.storage.models.loggers import SmokeSource
from app.storage.models.plans import Plan, PlanLine
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

SUBJECT = "plan"
MOST_LISTED = 100


@dataclass(frozen=True, slots=True)
class PlannedLine:
    """One run of a campaign.

    on : day by the calendar, if a day of the campaign follows the other
    trial_id, done_on : of the trial that did it, None while it is open
    """

    position: int
    day: int
    place: int
    on: date
    kind: str
    unit_id: int | None
    setting_id: int | None
    unit: str
    setting: str
    minutes: int
    trial_id: int | None
    done_on: date | None


@dataclass(frozen=True, slots=True)
class Campaign:
    """A stored campaign with its lines.

    not_counted : trials that fit a line but are unusable or excluded, so that the run has to be repeated
    """

    plan: Plan
    room: str
    lines: tuple[PlannedLine, ...]
    not_counted: tuple[int, ...]

    @property
    def done(self) -> int:
        return sum(line.trial_id is not None for line in self.lines)

    @property
    def next_line(self) -> PlannedLine | None:
        return next((line for line in self.lines if line.trial_id is None), None)


def store_campaign(
    session: Session, view: PlanView, new: NewPlan, *, who: str = AT_THE_DESK, now: datetime | None = None
) -> int:
    """Stores the campaign of an answer and returns its id.

    Raises InvalidValue where the answer has no runs, AlreadyStored for a name that is used.
    """
    at, name = now or datetime.now(UTC), checked_entry(new)["name"]
    choices = view.choices
    if not view.campaign:
        raise InvalidValue("The answer has no runs to plan. Ask for a narrower goal, or for more trials.", field="name")
    if choices.starts_on is None or choices.room_id is None:
        raise InvalidValue("The campaign has no first day or no room. Choose both.", field="starts_on")
    if session.scalar(select(Plan.id).where(func.lower(Plan.name) == name.lower())) is not None:
        raise AlreadyStored(f"A campaign {name!r} already exists. Give this one another name.", field="name")
    plan = Plan(
        name=name,
        goal=choices.goal,
        answer=answer_text(view.answer),
        room_id=choices.room_id,
        channel=choices.channel,
        aerosol=choices.aerosol,
        starts_on=choices.starts_on,
        runs_a_day=choices.runs_a_day,
        seed=choices.seed,
        made_by=acting_name(session, who),
        made_at=at,
    )
    plan.lines = [
        PlanLine(position=n, day=run.day, place=run.place, setting_id=run.setting, minutes=view.minutes_of(run))
        for n, run in enumerate(view.campaign)
    ]
    session.add(plan)
    session.flush()
    record_change(session, who, "added", SUBJECT, plan.id, after=f"{name}, {len(plan.lines)} runs", at=at)
    return plan.id


def delete_campaign(session: Session, plan_id: int, *, who: str = AT_THE_DESK, why: str = "") -> None:
    """Deletes a campaign; its trials stay, and the record of changes keeps its runs."""
    plan = _with_lines(session, plan_id)
    reason = required_text(why, "why", "The reason for removal")
    runs = ", ".join(f"day {line.day}: {line.setting_id or EMPTY_ROOM}" for line in plan.lines)
    before = f"{plan.name}; first day {plan.starts_on}; seed {plan.seed}; {plan.answer}\nsettings by day: {runs}"
    record_change(session, who, "taken back", SUBJECT, plan.id, "campaign", before, None, reason)
    session.delete(plan)
    session.flush()


def read_campaign(session: Session, plan_id: int) -> Campaign:
    return _campaigns(session, [_with_lines(session, plan_id)])[0]


def list_campaigns(session: Session) -> tuple[Campaign, ...]:
    """The newest campaigns first."""
    related = selectinload(Plan.lines), selectinload(Plan.room)
    plans = session.scalars(select(Plan).options(*related).order_by(Plan.id.desc()).limit(MOST_LISTED)).all()
    return _campaigns(session, plans)


def planned_of_unit(session: Session, unit_id: int) -> dict[str, tuple[int, int]]:
    """By name of the unit's settings: planned runs, and how many of them are done, over all campaigns."""
    asked = (
        select(PlanLine.plan_id)
        .join(SpeedSetting, SpeedSetting.id == PlanLine.setting_id)
        .where(SpeedSetting.unit_under_test_id == unit_id)
        .distinct()
    )
    related = selectinload(Plan.lines), selectinload(Plan.room)
    plans = session.scalars(select(Plan).options(*related).where(Plan.id.in_(asked)).order_by(Plan.id)).all()
    found: dict[str, tuple[int, int]] = {}
    for one in _campaigns(session, plans):
        for line in one.lines:
            if line.unit_id == unit_id:
                planned, done = found.get(line.setting, (0, 0))
                found[line.setting] = planned + 1, done + (line.trial_id is not None)
    return found


def _with_lines(session: Session, plan_id: int) -> Plan:
    related = selectinload(Plan.lines), selectinload(Plan.room)
    plan = session.scalars(select(Plan).options(*related).where(Plan.id == plan_id)).first()
    if plan is None:
        raise NotFound("campaign", plan_id)
    return plan


def _campaigns(session: Session, plans: Sequence[Plan]) -> tuple[Campaign, ...]:
    if not plans:
        return ()
    asked = {line.setting_id for plan in plans for line in plan.lines if line.setting_id is not None}
    names = {
        setting_id: (unit_id, f"{maker} {model}", name)
        for setting_id, unit_id, maker, model, name in session.execute(
            select(SpeedSetting.id, UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.name)
            .join(UnitUnderTest, UnitUnderTest.id == SpeedSetting.unit_under_test_id)
            .where(SpeedSetting.id.in_(asked))
        )
    }
    zone = ZoneInfo(session.scalar(select(Bench.timezone)) or "UTC")
    return tuple(_campaign(session, plan, names, zone) for plan in plans)


def _campaign(session: Session, plan: Plan, names: dict[int, tuple[int, str, str]], zone: ZoneInfo) -> Campaign:
    """Each trial since the first day ticks off the first open line that it fits: same setting, or an empty room."""
    first = datetime.combine(plan.starts_on, time(), zone)
    open_lines: dict[int | None, list[int]] = defaultdict(list)
    for line in plan.lines:
        open_lines[line.setting_id].append(line.position)
    done: dict[int, tuple[int, date]] = {}
    not_counted = []
    for trial_id, setting_id, started_at, excluded_at, usable in session.execute(_trials_since(plan, first)):
        if not open_lines.get(setting_id):
            continue
        if excluded_at is not None or not usable:
            not_counted.append(trial_id)
        else:
            done[open_lines[setting_id].pop(0)] = trial_id, started_at.astimezone(zone).date()
    lines = []
    for line in plan.lines:
        unit_id, unit, setting = (None, "", "") if line.setting_id is None else names[line.setting_id]
        trial_id, done_on = done.get(line.position, (None, None))
        lines.append(
            PlannedLine(
                position=line.position,
                day=line.day,
                place=line.place,
                on=plan.starts_on + timedelta(days=line.day - 1),
                kind=EMPTY_ROOM if line.setting_id is None else UNIT_RUNNING,
                unit_id=unit_id,
                setting_id=line.setting_id,
                unit=unit,
                setting=setting,
                minutes=line.minutes,
                trial_id=trial_id,
                done_on=done_on,
            )
        )
    return Campaign(plan, plan.room.name, tuple(lines), tuple(not_counted))


def _trials_since(plan: Plan, first: datetime) -> Select[*tuple[Any, ...]]:
    """Trials of the plan's room and aerosol since its first day, in order, and whether its channel is usable."""
    settings = [line.setting_id for line in plan.lines if line.setting_id is not None]
    of_line = (Trial.kind == EMPTY_ROOM) | Trial.setting_id.in_(settings)
    return (
        select(Trial.id, Trial.setting_id, Trial.started_at, Trial.excluded_at, ChannelResult.usable)
        .outerjoin(ChannelResult, and_(ChannelResult.trial_id == Trial.id, ChannelResult.channel == plan.channel))
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.room_id == plan.room_id,
            of_line,
            Trial.trashed_at.is_(None),
            Trial.started_at >= first,
            func.coalesce(SmokeSource.aerosol, "smoke") == plan.aerosol,
        )
        .order_by(Trial.started_at, Trial.id)
    )

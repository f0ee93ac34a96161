"""Stored campaigns: the list, the checklist of one, and its removal."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.wording.numbers import counted, listed
from app.reading_files.headers.channels import channel
from app.services.adding_trials.plans.campaigns import (
    Campaign,
    PlannedLine,
    delete_campaign,
    list_campaigns,
    read_campaign,
)
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.units.entry import units_that_may_make_ozone
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router

router = page_router()


@dataclass(frozen=True, slots=True)
class CampaignLine:
    """One campaign of the list."""

    id: int
    name: str
    room: str
    starts_on: str
    progress: str


@dataclass(frozen=True, slots=True)
class CampaignList:
    lines: Sequence[CampaignLine]
    answer: str


@dataclass(frozen=True, slots=True)
class ChecklistLine:
    """One run; `upload_address` opens the upload form with its fields filled in, "" once it is done."""

    number: int
    day: int
    place: int
    on: str
    what: str
    minutes: int
    trial_id: int | None
    done_on: str
    is_next: bool
    upload_address: str


@dataclass(frozen=True, slots=True)
class CampaignPage:
    """Context of the checklist. `ozone_names` are units of the campaign that can produce ozone."""

    id: int
    title: str
    answer: str
    conditions: str
    planned: str
    progress: str
    not_counted: str
    lines: Sequence[ChecklistLine]
    ozone_names: Sequence[str]
    form: TypedForm


@router.get("/plans")
def campaigns(session: SessionDep, render: RenderDep) -> Response:
    found = list_campaigns(session)
    lines = [
        CampaignLine(one.plan.id, one.plan.name, one.room, one.plan.starts_on.isoformat(), _progress(one))
        for one in found
    ]
    open_runs = sum(len(one.lines) - one.done for one in found)
    answer = f"{counted(len(found), 'campaign')} with {counted(open_runs, 'run')} to be done."
    return render("pages/plans/list.html", CampaignList(lines, answer))


@router.get("/plans/{plan_id}")
def campaign(plan_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render("pages/plans/campaign.html", _page(session, plan_id, empty_form()))


@router.post("/plans/{plan_id}/delete")
def campaign_deleted(plan_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        delete_campaign(session, plan_id, who=form.text("who"), why=form.text("why"))
        return RedirectResponse("/plans", 303)
    return render("pages/plans/campaign.html", _page(session, plan_id, form), status_code=422)


def _page(session: Session, plan_id: int, form: TypedForm) -> CampaignPage:
    found = read_campaign(session, plan_id)
    plan = found.plan
    units = {line.unit_id for line in found.lines if line.unit_id is not None}
    made = f"{plan.made_at:%Y-%m-%d}"
    following = found.next_line
    return CampaignPage(
        id=plan.id,
        title=plan.name,
        answer=_answer(found),
        conditions=f"{channel(plan.channel).label} of {plan.aerosol} in {found.room} · first day {plan.starts_on} · "
        f"{counted(plan.runs_a_day, 'run')} a day",
        planned=f"Planned on {made} by {plan.made_by}: {plan.answer} The order was drawn with seed {plan.seed} and is "
        "stored, so that it can be printed again.",
        progress=_progress(found),
        not_counted=_not_counted(found),
        lines=[_line(line, found, is_next=line is following) for line in found.lines],
        ozone_names=units_that_may_make_ozone(session, units),
        form=form,
    )


def _answer(found: Campaign) -> str:
    following = found.next_line
    if following is None:
        return f"All {counted(len(found.lines), 'run')} are done."
    return f"{_progress(found)}; next: {_what(following)} of about {following.minutes} min."


def _progress(found: Campaign) -> str:
    return f"{found.done} of {counted(len(found.lines), 'run')} done"


def _not_counted(found: Campaign) -> str:
    if not found.not_counted:
        return ""
    names = listed([f"trial {trial_id}" for trial_id in found.not_counted])
    verb = "is" if len(found.not_counted) == 1 else "are"
    return f"{names[:1].upper()}{names[1:]} {verb} unusable or excluded, so the run has to be repeated."


def _what(line: PlannedLine) -> str:
    return "empty room" if line.kind == EMPTY_ROOM else f"{line.unit} at “{line.setting}”"


def _line(line: PlannedLine, found: Campaign, *, is_next: bool) -> ChecklistLine:
    fields: dict[str, object] = {"kind": line.kind, "room_id": found.plan.room_id}
    if line.unit_id is not None:
        fields |= {"unit_under_test_id": line.unit_id, "setting": line.setting}
    return ChecklistLine(
        number=line.position + 1,
        day=line.day,
        place=line.place,
        on=line.on.isoformat(),
        what=_what(line),
        minutes=line.minutes,
        trial_id=line.trial_id,
        done_on=line.done_on.isoformat() if line.done_on is not None else "",
        is_next=is_next,
        upload_address="" if line.trial_id is not None else address("/trials/add", {}, **fields),
    )

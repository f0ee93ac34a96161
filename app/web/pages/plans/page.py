"""The question in the address, its answer, and the campaign that can be stored."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.planning.answer import Answer, Step
from app.compute.planning.wording import ASSURED, answer_text, assumption_texts, figure_text, help_texts
from app.compute.wording.numbers import counted
from app.errors import HazefallError
from app.figures.charts.planned_runs import planned_runs_text
from app.reading_files.headers.channels import channel
from app.services.adding_trials.plans.answer import PlanView, plan_view
from app.services.adding_trials.plans.campaigns import list_campaigns, store_campaign
from app.services.adding_trials.plans.definitions import GOAL_WORDS, GOALS, NewPlan
from app.services.bench.form_options import trial_form_options
from app.services.snapshot.bench_snapshot import current_snapshot
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.options import filter_options, plain_choices
from app.web.forms.plan_form import form_of_choices, plan_choices
from app.web.forms.typed_form import TypedForm, TypedFormDep
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
PATH = "/plan"
# by goal: head of the column with the assured figure, and of the typical one
_HEADS = {
    "rate": (f"Half-width in {ASSURED}", "Half-width of the median campaign", "%"),
    "difference": ("Power", "", "%"),
    "order": ("Pairs expected in the wrong order", "", ""),
}


@dataclass(frozen=True, slots=True)
class StepLine:
    trials: int
    empty_runs: int
    assured: str
    typical: str
    is_planned: bool


@dataclass(frozen=True, slots=True)
class RunLine:
    """One run of the campaign, before it is stored."""

    day: int
    place: int
    name: str
    minutes: int


@dataclass(frozen=True, slots=True)
class PlanPage:
    """Context of the template; without an answer there is only the form."""

    title: str
    answer: str
    sentences: Sequence[str]
    helps: Sequence[str]
    conditions: str
    heads: tuple[str, str, str]
    steps: Sequence[StepLine]
    next_runs: Sequence[tuple[str, str]]
    useless_runs: str  # how many others change nothing that is seen
    runs: Sequence[RunLine]
    seed: int
    chart_query: str
    chart_text: str
    stored_fields: Sequence[tuple[str, str]]
    form: TypedForm
    goals: Sequence[Choice]
    units: Sequence[Choice]
    other_units: Sequence[Choice]
    rooms: Sequence[Choice]
    setting_names: Sequence[str]
    campaigns: int
    is_empty: bool


@router.get(PATH)
def show_plan(request: Request, session: SessionDep, render: RenderDep) -> Response:
    form = query_form(request.query_params)
    page = _page(session, form)
    asked_wrongly = bool(form.values) and not form.is_good
    return render("pages/plans/page.html", page, charts=bool(page.steps), status_code=422 if asked_wrongly else 200)


@router.post(PATH)
def plan_stored(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    """Stores the campaign of the question under a name."""
    new = form.entry(NewPlan)
    choices = plan_choices(session, form)
    if new is not None and choices is not None:
        with form.attempt(session):
            view = plan_view(current_snapshot(session), choices)
            plan_id = store_campaign(session, view, new, who=form.text("who"))
            return RedirectResponse(f"/plans/{plan_id}", 303)
    page = _page(session, form)
    return render("pages/plans/page.html", page, charts=bool(page.steps), status_code=422)


def _page(session: Session, form: TypedForm) -> PlanPage:
    view = None
    is_fresh = not form.values
    mistakes = dict(form.errors)
    choices = plan_choices(session, form)
    if choices is None and mistakes and form.errors == mistakes:  # only the name of the campaign is wrong
        own = TypedForm({name: texts for name, texts in form.values.items() if name not in mistakes})
        choices = plan_choices(session, own)
    if choices is not None:
        try:
            view = plan_view(current_snapshot(session), choices)
        except HazefallError as error:
            if not is_fresh:
                form.add_error(error.field or "", error.message)
    return _shown(session, form, view, is_empty=is_fresh and view is None)


def _shown(session: Session, form: TypedForm, view: PlanView | None, *, is_empty: bool) -> PlanPage:
    options = trial_form_options(session)
    asked = form_of_choices(view.choices).values if view is not None else {}
    answer = view.answer if view is not None else None
    # a settled order is a sentence: a table of one number again and again says nothing more
    drawn = answer if answer is not None and (answer.goal, answer.status) != ("order", "known") else None
    next_runs, useless_runs = _next_runs(drawn)
    return PlanPage(
        title="Plan runs",
        answer=answer_text(answer) if answer is not None else "",
        sentences=assumption_texts(answer) if answer is not None else (),
        helps=help_texts(answer) if answer is not None else (),
        conditions=_conditions(view) if view is not None else "",
        heads=_HEADS[answer.goal] if answer is not None else ("", "", ""),
        steps=[_step(step, drawn) for step in drawn.steps] if drawn is not None else (),
        next_runs=next_runs,
        useless_runs=useless_runs,
        runs=_runs(view) if view is not None else (),
        seed=view.choices.seed if view is not None else 1,
        chart_query=address("", asked).lstrip("?"),
        chart_text=planned_runs_text(answer) if answer is not None else "",
        stored_fields=[(name, texts[0]) for name, texts in asked.items()],
        form=form,
        goals=plain_choices(GOALS, form.typed("goal", "order"), GOAL_WORDS),
        units=filter_options(options.units, form.typed("unit_id"), "choose one"),
        other_units=filter_options(options.units, form.typed("other_unit_id"), "choose one"),
        rooms=filter_options(options.rooms, form.typed("room_id"), "the one with most trials"),
        setting_names=options.setting_names,
        campaigns=len(list_campaigns(session)),
        is_empty=is_empty,
    )


def _next_runs(answer: Answer | None) -> tuple[list[tuple[str, str]], str]:
    """The candidates after which the figure reads differently, and a sentence on the others."""
    if answer is None:
        return [], ""
    now = figure_text(answer, answer.now)
    shown = [(one.name, text) for one in answer.next_runs if (text := figure_text(answer, one.after)) != now]
    others = len(answer.next_runs) - len(shown)
    words = f"One run of {counted(others, 'other candidate')} would leave it at {now}." if others else ""
    return shown, words


def _conditions(view: PlanView) -> str:
    name = channel(view.choices.channel).label
    return f"{name} of {view.choices.aerosol} in {view.answer.known.room} · first day {view.choices.starts_on}"


def _step(step: Step, answer: Answer) -> StepLine:
    typical = "" if step.typical is None else figure_text(answer, step.typical)
    planned = (step.trials, step.empty_runs) == (answer.trials, answer.empty_runs) and answer.status == "runs"
    return StepLine(step.trials, step.empty_runs, figure_text(answer, step.assured), typical, planned)


def _runs(view: PlanView) -> list[RunLine]:
    return [RunLine(run.day, run.place, view.name_of(run), view.minutes_of(run)) for run in view.campaign]

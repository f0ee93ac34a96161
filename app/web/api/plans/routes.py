"""Plans: the answer to a question, storing its campaign, and the campaigns with what is done of them."""

from typing import Annotated

from fastapi import Query

from app.services.adding_trials.plans.definitions import NewPlan, PlanChoices
from app.services.store.entry_fields import stored_values
from app.web.api.plans.shapes import (
    AskedCampaign,
    AskedPlan,
    CampaignInFull,
    CampaignList,
    CampaignShape,
    PlanAnswer,
    answer_shape,
    campaign_values,
)
from app.web.api.shapes import Id, of_bench, problem_answers
from app.web.dependencies import SessionDep, SnapshotDep
from app.web.routers import api_router

router = api_router("plans")


@router.get("/plan", responses=problem_answers(404))
def plan_answer(snapshot: SnapshotDep, asked: Annotated[AskedPlan, Query()]) -> PlanAnswer:
    """How many further runs a question needs, of what length, in which order, and which run comes next."""
    from app.compute.planning.wording import answer_text, assumption_texts, help_texts  # loaded when used: scipy
    from app.services.adding_trials.plans.answer import plan_view

    view = plan_view(snapshot, PlanChoices(**stored_values(PlanChoices, asked)))
    sentences = answer_text(view.answer), assumption_texts(view.answer), help_texts(view.answer)
    return answer_shape(view, sentences, of_bench(snapshot.session))


@router.post("/plans", status_code=201, responses=problem_answers(400, 404, 409))
def plan_stored(session: SessionDep, asked: AskedCampaign) -> CampaignInFull:
    """Stores the campaign of a question under a name; its lines are ticked off as trials are added."""
    from app.services.adding_trials.plans.answer import plan_view  # loaded when used: it needs scipy
    from app.services.adding_trials.plans.campaigns import read_campaign, store_campaign
    from app.services.snapshot.bench_snapshot import current_snapshot

    view = plan_view(current_snapshot(session), PlanChoices(**stored_values(PlanChoices, asked)))
    plan_id = store_campaign(session, view, NewPlan(name=asked.model_dump()["name"]), who=asked.who)
    return CampaignInFull(**campaign_values(read_campaign(session, plan_id)), **of_bench(session))


@router.get("/plans", responses=problem_answers())
def plan_list(session: SessionDep) -> CampaignList:
    """The newest campaigns first, at most a hundred."""
    from app.services.adding_trials.plans.campaigns import list_campaigns  # loaded when used: it needs scipy

    found = [CampaignShape(**campaign_values(one)) for one in list_campaigns(session)]
    return CampaignList(plans=found, **of_bench(session))


@router.get("/plans/{plan_id}", responses=problem_answers(404))
def plan_read(plan_id: Id, session: SessionDep) -> CampaignInFull:
    """A campaign with its runs and the trials that did them."""
    from app.services.adding_trials.plans.campaigns import read_campaign  # loaded when used: it needs scipy

    return CampaignInFull(**campaign_values(read_campaign(session, plan_id)), **of_bench(session))

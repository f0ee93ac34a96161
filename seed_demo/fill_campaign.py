"""The planned campaign of the demonstration bench, made before its last trials, so that it is partly done."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.services.adding_trials.plans.answer import plan_view
from app.services.adding_trials.plans.campaigns import store_campaign
from app.services.adding_trials.plans.definitions import NewPlan, PlanChoices
from app.services.results.update_derived import update_all_derived_results
from app.services.snapshot.bench_snapshot import current_snapshot
from seed_demo.fill_bench import BenchIds
from seed_demo.scenario import EDITOR
from seed_demo.trial_plan import TrialPlan

NAME = "Invented: repeats for a narrower rate"
WITHIN_PCT = 6.0
RUNS_A_DAY = 2
SEED = 2025
LEAST_M3_PER_H = 100.0  # a share of a smaller rate is not worth planning


def first_of_campaign(plans: tuple[TrialPlan, ...]) -> int:
    """Place of the last trial of a setting that cleans and was tested before in its room: the first of the campaign."""
    for place in range(len(plans) - 1, 0, -1):
        plan = plans[place]
        earlier = any(
            (other.unit, other.speed, other.room) == (plan.unit, plan.speed, plan.room) for other in plans[:place]
        )
        cleans = plan.speed is not None and plan.speed.clean_air_m3_per_h > LEAST_M3_PER_H
        if cleans and earlier and not plan.excluded_why:
            return place
    return len(plans)


def plan_campaign(session: Session, first: TrialPlan, ids: BenchIds, now: datetime) -> None:
    """Plans as a person would before the trial, from what the bench knows by then."""
    if first.unit is None or first.speed is None:
        raise ValueError("The campaign begins with a trial of a unit.")
    update_all_derived_results(session, why="the campaign was planned", now=now, record=False)
    choices = PlanChoices(
        goal="rate",
        setting_id=ids.settings[first.unit.name, first.speed.name],
        room_id=ids.rooms[first.room.name],
        within_pct=WITHIN_PCT,
        runs_a_day=RUNS_A_DAY,
        seed=SEED,
        starts_on=first.started.date(),
    )
    store_campaign(session, plan_view(current_snapshot(session), choices), NewPlan(name=NAME), who=EDITOR, now=now)

"""Fills an empty store with the invented demonstration bench through forms and uploads, as a person would."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Engine, event, func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored
from app.services.adding_trials.add import add_read_trial
from app.services.adding_trials.worked_log import WorkedLog
from app.services.logs.logger_profiles import load_profile
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.results.trial_results import analysis_terms
from app.services.results.update_derived import update_all_derived_results
from app.services.store.progress import OnProgress, no_progress
from app.services.trials.marks import exclude_trial
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import UnitUnderTest
from seed_demo.control_plan import control_runs
from seed_demo.fill_bench import BenchIds, add_invented_unit, add_surroundings, name_bench
from seed_demo.fill_campaign import first_of_campaign, plan_campaign
from seed_demo.fill_control_room import add_control_room
from seed_demo.fill_measurements import add_measurements
from seed_demo.log_writers import LOCAL_ZONE
from seed_demo.logger_checks import add_logger_collocations
from seed_demo.simulate_trial import unit_on_s
from seed_demo.trial_plan import TrialPlan, all_trials, small_trials, units_of
from seed_demo.worked_runs import RunTask, worked_ahead


def build_demo(
    engine: Engine, on_progress: OnProgress | None = None, *, small: bool = False, workers: int | None = None
) -> bool:
    """Fills the store and returns True; False where it is the demonstration already.

    Raises AlreadyStored for a bench with units or trials of somebody's own.

    Everything is one transaction, so that an interrupted build leaves an empty store. The build is
    deterministic: nothing depends on the clock, on chance, or on the number of processes.

    on_progress : called with (steps done, total, description)
    small : five units, twelve trials and three empty-room runs, without the room of the control chart, for tests
    workers : processes that simulate and analyse; None: one per core, or none besides this one for the small bench
    """
    tell = on_progress or no_progress
    plans = small_trials() if small else all_trials()
    controls = () if small else control_runs()
    steps = len(units_of(plans)) + len(plans) + len(controls) + 1
    with session_scope(engine) as session:
        if _is_filled(session):
            if not session.scalars(select(Bench.invented)).one():
                raise AlreadyStored(
                    "This bench holds units or trials of your own, so it is not the demonstration. Choose an empty "
                    "folder with --data, or serve it with: hazefall serve."
                )
            return False
        # the session would read rooms, units and loggers again for each run, because it holds nothing by itself
        held: list[object] = []
        event.listen(session, "loaded_as_persistent", lambda _session, row: held.append(row))
        tell(0, steps, "Making the invented bench")
        name_bench(session)
        ids = add_surroundings(session)
        tasks = [_task(session, plan, ids) for plan in (*controls, *plans)]
        with worked_ahead(tasks, 1 if small and workers is None else workers) as worked_runs:
            for done, unit in enumerate(units_of(plans), start=1):
                add_invented_unit(session, unit, ids)
                add_measurements(session, unit, ids)
                tell(done, steps, f"{unit.name} put on the bench")
            if controls:
                add_control_room(session, ids)
            added: list[tuple[int, TrialPlan]] = []
            campaign_from = len(controls) + first_of_campaign(plans)
            for task, worked in zip(tasks, worked_runs, strict=True):
                plan = task.plan
                if len(added) == campaign_from:
                    plan_campaign(session, plan, ids, _brought_in(plan) - timedelta(days=1))
                added.append((_add_run(session, task, worked, ids), plan))
                tell(steps - len(tasks) - 1 + len(added), steps, f"{_subject(plan)} in the {plan.room.name.lower()}")
        update_all_derived_results(
            session, why="the demonstration was filled", now=_brought_in(plans[-1]), record=False
        )
        for trial_id, plan in added:
            if plan.excluded_why:
                at = _brought_in(plan) + timedelta(days=1)
                exclude_trial(session, trial_id, who=plan.excluded_by, why=plan.excluded_why, now=at)
        add_logger_collocations(session, ids, small=small)
        tell(steps, steps, "The invented bench is ready")
    return True


def _is_filled(session: Session) -> bool:
    return any(session.scalar(select(func.count()).select_from(table)) for table in (UnitUnderTest, Trial))


def _task(session: Session, plan: TrialPlan, ids: BenchIds) -> RunTask:
    logger_id = ids.loggers[plan.logger.name]
    terms = analysis_terms(session, _kind(plan), logger_id, _marks(plan), started_at=_brought_in(plan))
    return RunTask(plan, load_profile(session, ids.profiles[plan.logger.name]), terms)


def _add_run(session: Session, task: RunTask, worked: WorkedLog, ids: BenchIds) -> int:
    plan = task.plan
    unit, speed = plan.unit, plan.speed
    return add_read_trial(
        session,
        worked.content,
        worked.table,
        NewTrial(
            kind=_kind(plan),
            room_id=ids.rooms[plan.room.name],
            unit_under_test_id=ids.units[unit.name] if unit else None,
            setting_id=ids.settings[unit.name, speed.name] if unit and speed else None,
            smoke_source_id=ids.sources[plan.source.name],
            logger_id=ids.loggers[plan.logger.name],
            profile_id=ids.profiles[plan.logger.name],
            tested_by=plan.tested_by,
            filter_state=plan.filter_state,
            notes=plan.notes,
            marks=_marks(plan),
        ),
        task.choices,
        _brought_in(plan),
        settle=False,
        analyse=worked.analyse,
    )


def _kind(plan: TrialPlan) -> str:
    return EMPTY_ROOM if plan.empty_room else UNIT_RUNNING


def _marks(plan: TrialPlan) -> TrialMarks:
    return TrialMarks(unit_on_s=unit_on_s(plan) if plan.told_unit_on else None)


def _brought_in(plan: TrialPlan) -> datetime:
    """Upload time of the log: forty minutes after the run."""
    minutes = plan.unit_on_min + plan.run_min + 40
    return plan.started.replace(tzinfo=ZoneInfo(LOCAL_ZONE)) + timedelta(minutes=minutes)


def _subject(plan: TrialPlan) -> str:
    return f"{plan.unit.name}, {plan.speed.name}," if plan.unit and plan.speed else "Empty-room run"

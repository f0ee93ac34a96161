"""Updates everything derived from trials after some of them changed: clean air rates, summaries, pools."""

from collections.abc import Collection, Iterable
from datetime import UTC, datetime
from functools import cache
from typing import Any

from sqlalchemy import Select, bindparam, select
from sqlalchemy.orm import Session

from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.clean_air import derive_clean_air
from app.services.results.control_charts.check_unit_spread import is_check_run
from app.services.results.natural_decay_pools import remove_unused_pools
from app.services.results.summaries import refresh_summaries
from app.services.store.id_batches import in_batches
from app.storage.models.trials import Trial


def update_derived_results(
    session: Session,
    trial_ids: Iterable[int],
    *,
    who: str = "",
    why: str,
    now: datetime | None = None,
    new_trials: Collection[int] = (),
) -> None:
    """Updates the results derived from the given trials.

    An empty-room run is used by the other trials of its room, and its scatter by other rooms; a run of the check unit
    widens the other trials of its room. If such a run changed, the whole bench is updated. Nothing is fitted again.
    Each changed number is recorded with `why`.

    new_trials : those just added, which have no earlier numbers to record
    """
    session.flush()
    ids = sorted(set(trial_ids))
    touched = _touched(session, ids)
    serves_others = any(row.kind == EMPTY_ROOM or row.is_check_run for row in touched)
    moved = derive_clean_air(session, trial_ids=None if serves_others else ids, who=who, why=why, new_trials=new_trials)
    settings = {row.setting_id for row in touched if row.setting_id is not None}
    others = _settings_of(session, moved - set(ids)) - settings
    refresh_summaries(session, settings, now or datetime.now(UTC), rates_only=others)
    if serves_others or not set(ids) <= set(new_trials):  # a new trial does not change the pools of others
        remove_unused_pools(session)


def update_all_derived_results(
    session: Session, *, who: str = "", why: str, now: datetime | None = None, record: bool = True
) -> None:
    """Updates the whole bench, after a change that affects every trial.

    record : False if the caller records the changes itself, or the trials were just added
    """
    derive_clean_air(session, who=who, why=why, record=record)
    refresh_summaries(session, None, now or datetime.now(UTC))
    remove_unused_pools(session)


def rederive_room(session: Session, room_id: int, *, who: str, why: str) -> None:
    """Updates the trials of a room after its volume or its check unit changed."""
    trials = session.scalars(select(Trial.id).where(Trial.room_id == room_id, Trial.trashed_at.is_(None))).all()
    update_derived_results(session, trials, who=who, why=why)


def _touched(session: Session, trial_ids: Iterable[int]) -> list[Any]:
    connection = session.connection()
    return [row for ids in in_batches(trial_ids) for row in connection.execute(_touched_query(), {"ids": ids})]


@cache
def _touched_query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it for one trial."""
    columns = Trial.kind, Trial.setting_id, is_check_run().label("is_check_run")
    return select(*columns).where(Trial.id.in_(bindparam("ids", expanding=True)))


def _settings_of(session: Session, trial_ids: Iterable[int]) -> set[int]:
    return {
        setting_id
        for batch in in_batches(trial_ids)
        for setting_id in session.scalars(select(Trial.setting_id).where(Trial.id.in_(batch)))
        if setting_id is not None
    }

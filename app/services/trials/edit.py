"""Editing the details of a trial: unit, setting, room, logger, smoke source, tester and notes."""

from datetime import UTC, datetime

from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.logs.trial_fields import CONDITIONS, TRIAL_TEXTS, checked_trial, stored_conditions
from app.services.results.summaries import refresh_summaries
from app.services.results.trial_results import get_trial, reanalyse_trials
from app.services.store.audit import AT_THE_DESK, record_change
from app.storage.models.trials import Trial

CHANGEABLE = tuple(name for name in CONDITIONS if name != "kind")
_WORDS_ONLY = frozenset(TRIAL_TEXTS)


def change_trial_details(
    session: Session,
    trial_id: int,
    changed: dict[str, object],
    *,
    who: str = AT_THE_DESK,
    why: str = "",
    now: datetime | None = None,
) -> Trial:
    """Changes the given details, each with a record. A change of unit, setting, room, source or logger also updates the
    results of the trial, and the summaries that it left.
    """
    unknown = sorted(changed.keys() - set(CHANGEABLE))
    if unknown:
        raise InvalidValue(
            f"{unknown[0]!r} of a trial cannot be changed; editable fields: {', '.join(CHANGEABLE)}.", field=unknown[0]
        )
    trial = get_trial(session, trial_id)
    checked = checked_trial(session, stored_conditions(trial, **changed))
    left_setting = trial.setting_id
    moved = set()
    for name in CHANGEABLE:
        before, after = getattr(trial, name), getattr(checked, name)
        if before != after:
            setattr(trial, name, after)
            record_change(session, who, "changed", "trial", trial_id, name, before, after, why, at=now)
            moved.add(name)
    if moved - _WORDS_ONLY:
        session.flush()
        at = now or datetime.now(UTC)
        reanalyse_trials(session, [trial_id], who=who, why=why or "the trial details were changed", now=at)
        if left_setting is not None and left_setting != trial.setting_id:
            refresh_summaries(session, {left_setting}, at)
    return trial

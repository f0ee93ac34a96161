"""The trash: trials and units lie there until they are taken back; nothing is deleted, and no log file is lost."""

from datetime import UTC, datetime

from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.audit import AT_THE_DESK, record_change
from app.services.units import SUBJECT, get_unit
from app.storage.trials import Trial
from app.storage.units_under_test import UnitUnderTest


def trash_unit(session: Session, unit_id: int, *, who: str = AT_THE_DESK, now: datetime | None = None) -> UnitUnderTest:
    """Takes a unit off the bench; its trials stay with it."""
    unit = get_unit(session, unit_id)
    _refuse_if(unit.trashed_at is not None, f"{unit.maker} {unit.model} lies in the trash already.")
    unit.trashed_at = now or datetime.now(UTC)
    record_change(session, who, "trashed", SUBJECT, unit_id, at=now)
    return unit


def untrash_unit(
    session: Session, unit_id: int, *, who: str = AT_THE_DESK, now: datetime | None = None
) -> UnitUnderTest:
    unit = get_unit(session, unit_id)
    _refuse_if(unit.trashed_at is None, f"{unit.maker} {unit.model} does not lie in the trash.")
    unit.trashed_at = None
    record_change(session, who, "restored", SUBJECT, unit_id, at=now)
    return unit


def trash_trial(session: Session, trial_id: int, *, who: str = AT_THE_DESK, now: datetime | None = None) -> Trial:
    """Takes a trial out of the bench; what rested on it is derived again, each move recorded."""
    from app.services.settle_results import settle_results  # loaded when used: it needs scipy
    from app.services.trial_results import get_trial

    trial = get_trial(session, trial_id)
    _refuse_if(trial.trashed_at is not None, f"Trial {trial_id} lies in the trash already.")
    trial.trashed_at = now or datetime.now(UTC)
    record_change(session, who, "trashed", "trial", trial_id, at=now)
    settle_results(session, [trial_id], who=who, why=f"trial {trial_id} was put in the trash", now=now)
    return trial


def untrash_trial(session: Session, trial_id: int, *, who: str = AT_THE_DESK, now: datetime | None = None) -> Trial:
    from app.services.settle_results import settle_results  # loaded when used: it needs scipy
    from app.services.trial_results import get_trial

    trial = get_trial(session, trial_id)
    _refuse_if(trial.trashed_at is None, f"Trial {trial_id} does not lie in the trash.")
    trial.trashed_at = None
    record_change(session, who, "restored", "trial", trial_id, at=now)
    settle_results(session, [trial_id], who=who, why=f"trial {trial_id} was taken back from the trash", now=now)
    return trial


def _refuse_if(wrong: bool, message: str) -> None:
    if wrong:
        raise InvalidValue(f"{message} Nothing was changed.")

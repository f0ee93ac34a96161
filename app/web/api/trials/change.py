"""Body of a request that changes a trial."""

from dataclasses import replace
from typing import Annotated

from pydantic import Field
from sqlalchemy.orm import Session

from app.services.logs.trial_fields import NewTrial
from app.services.store.checked_values import LONGEST_TEXT
from app.web.api.derived import body
from app.web.api.shapes import RequestBody
from app.web.api.trials.form import IdField, MarkFields


class MarksChange(MarkFields):
    """Marks to set; null finds a mark from the data again, and an omitted one does not change."""


@body(NewTrial, without=("kind", "profile_id", "started_at"), change=True)
class TrialChange(RequestBody):
    """Changes; omitted fields do not change.

    excluded : true excludes the trial from results (requires `why`), false includes it again
    trashed : true moves it to the trash (requires `why`), false restores it
    """

    marks: MarksChange = MarksChange()
    unit_under_test_id: IdField = 0
    setting_id: IdField = 0
    room_id: IdField = 0
    excluded: bool = False
    trashed: bool = False
    who: Annotated[str, Field(max_length=200, description="Who makes the change; recorded in the history")] = ""
    why: Annotated[str, Field(max_length=LONGEST_TEXT)] = ""


def apply_change(session: Session, trial_id: int, asked: TrialChange) -> None:
    """Applies a change. Raises the errors of the services; nothing is stored then."""
    from app.services.results.trial_results import get_trial, stored_marks
    from app.services.trials.edit import change_trial_details
    from app.services.trials.marks import change_marks, exclude_trial, restore_trial  # loaded when used: it needs scipy
    from app.services.trials.trash import trash_trial, untrash_trial

    trial = get_trial(session, trial_id)
    given = asked.model_dump(exclude_unset=True, exclude={"marks", "excluded", "trashed", "who", "why"})
    if given:
        change_trial_details(session, trial_id, given, who=asked.who, why=asked.why)
    marks = asked.marks.model_dump(exclude_unset=True)
    if marks:
        change_marks(session, trial_id, replace(stored_marks(trial), **marks), who=asked.who, why=asked.why)
    sent = asked.model_fields_set
    if "excluded" in sent and asked.excluded != (trial.excluded_at is not None):
        change = exclude_trial if asked.excluded else restore_trial
        change(session, trial_id, who=asked.who, why=asked.why)
    if "trashed" in sent and asked.trashed != (trial.trashed_at is not None):
        put = trash_trial if asked.trashed else untrash_trial
        put(session, trial_id, who=asked.who, why=asked.why)

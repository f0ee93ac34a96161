"""The body with which a script changes a trial."""

from dataclasses import replace
from typing import Annotated

from pydantic import Field
from sqlalchemy.orm import Session

from app.services.logs.trial_fields import NewTrial
from app.services.store.checked_values import LONGEST_TEXT
from app.web.api.derived import body
from app.web.api.shapes import AskedBody
from app.web.api.trials.form import IdField, MarkFields


class MarksChange(MarkFields):
    """Marks to set; null has a mark found from the data again, and one that is left out stays as it is."""


@body(NewTrial, without=("kind", "profile_id", "started_at"), change=True)
class TrialChange(AskedBody):
    """What to change; fields that are left out stay as they are.

    excluded : true leaves the trial out of what is combined (`why` is then needed), false takes it back in
    trashed : true puts it in the trash (`why` is then needed), false takes it back
    """

    marks: MarksChange = MarksChange()
    unit_under_test_id: IdField = 0
    setting_id: IdField = 0
    room_id: IdField = 0
    excluded: bool = False
    trashed: bool = False
    who: Annotated[str, Field(max_length=200, description="Who changes it; kept in the record of changes")] = ""
    why: Annotated[str, Field(max_length=LONGEST_TEXT)] = ""


def apply_change(session: Session, trial_id: int, asked: TrialChange) -> None:
    """Carries a change into the store. Raises what the services raise; nothing is stored then."""
    from app.services.results.trial_results import get_trial, stored_marks
    from app.services.trials.facts import change_trial_facts
    from app.services.trials.marks import change_marks, exclude_trial, restore_trial  # loaded when used: it needs scipy
    from app.services.trials.trash import trash_trial, untrash_trial

    trial = get_trial(session, trial_id)
    given = asked.model_dump(exclude_unset=True, exclude={"marks", "excluded", "trashed", "who", "why"})
    if given:
        change_trial_facts(session, trial_id, given, who=asked.who, why=asked.why)
    marks = asked.marks.model_dump(exclude_unset=True)
    if marks:
        change_marks(session, trial_id, replace(stored_marks(trial), **marks), who=asked.who, why=asked.why)
    told = asked.model_fields_set
    if "excluded" in told and asked.excluded != (trial.excluded_at is not None):
        change = exclude_trial if asked.excluded else restore_trial
        change(session, trial_id, who=asked.who, why=asked.why)
    if "trashed" in told and asked.trashed != (trial.trashed_at is not None):
        put = trash_trial if asked.trashed else untrash_trial
        put(session, trial_id, who=asked.who, why=asked.why)

"""Which changes readers of published results see: results, prices, parts, verdicts and exclusions.

Logger settings, notes and draft texts are internal.
"""

from sqlalchemy import ColumnElement, and_, or_

from app.storage.models.bench import Change

TRIAL, UNIT, ROOM = "trial", "unit under test", "room"

# fields that affect the results of a trial or describe it
TRIAL_FIELDS = (
    "kind",
    "unit_under_test_id",
    "setting_id",
    "room_id",
    "smoke_source_id",
    "filter_state",
    "smoke_start_s",
    "smoke_end_s",
    "unit_on_s",
    "fit_start_s",
    "fit_end_s",
    "end_s",
    "background_ug_m3",
    "clear_level_kind",
    "clear_level_value",
)
UNIT_FIELDS = (
    "price",
    "consumable",
    "claim",
    "rating",
    "ozone",
    "power",
    "sound level",
    "highest setting",
)
PRICE_OF_PART = "price of "
_ROOM_FIELDS = ("room_volume_m3", "room_volume_uncertainty_m3")
_WHOLE_ITEM = ("excluded", "restored", "trashed", "untrashed")
_WHOLE_TRIAL = (*_WHOLE_ITEM, "recomputed")


def of_interest() -> ColumnElement[bool]:
    """SQL condition for changes that readers see."""
    is_new = and_(Change.action == "added", Change.field == "")
    whole_trial = or_(Change.action.in_(_WHOLE_TRIAL), is_new)
    whole_unit = or_(Change.action.in_(_WHOLE_ITEM), is_new)
    published = or_(Change.action == "withdrawn", Change.after.endswith("published", autoescape=True))
    verdict = and_(Change.field == "verdict", published)
    part = Change.field.startswith(PRICE_OF_PART, autoescape=True)
    return or_(
        and_(Change.subject == TRIAL, or_(whole_trial, Change.field.in_(TRIAL_FIELDS))),
        and_(Change.subject == UNIT, or_(whole_unit, Change.field.in_(UNIT_FIELDS), part, verdict)),
        and_(Change.subject == ROOM, Change.field.in_(_ROOM_FIELDS)),
    )

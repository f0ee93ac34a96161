"""Deletes an entry; the record of changes keeps all its fields."""

from sqlalchemy.orm import Session

from app.services.store.audit import record_change, row_snapshot
from app.services.store.checked_values import required_text
from app.services.units.entry import SUBJECT
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.reviews import Verdict
from app.storage.models.sound_clips import SoundClip
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, SpeedSetting

OfUnit = (
    SoundMeasurement
    | PowerMeasurement
    | OzoneTest
    | Rating
    | Claim
    | SoundClip
    | Price
    | Consumable
    | SpeedSetting
    | Verdict
)


def delete_entry(
    session: Session,
    row: OfUnit | ConsumablePrice,
    field: str,
    words: str,
    *,
    who: str,
    why: str,
    unit_id: int = 0,
) -> None:
    """Deletes an entry. Raises InvalidValue without a reason.

    field : name of the entry's kind in the record; words : summary of the entry
    unit_id : its unit, where the row does not name it
    """
    reason = required_text(why, "why", "The reason for removal")
    before = f"{words}\n{row_snapshot(row)}"
    of_unit = unit_id if isinstance(row, ConsumablePrice) else row.unit_under_test_id
    record_change(session, who, "taken back", SUBJECT, of_unit, field, before, None, reason)
    session.delete(row)
    session.flush()

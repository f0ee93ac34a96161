"""What sound, power and ozone entries have in common: the unit, its setting, and taking a wrong entry back."""

from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.audit import record_change
from app.services.checked_values import required_text
from app.services.units import SUBJECT, get_unit
from app.storage.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.units_under_test import SpeedSetting


def setting_of_unit(session: Session, unit_id: int, setting_id: int) -> SpeedSetting:
    """The setting, where it belongs to the unit; raises NotFound or InvalidValue."""
    unit = get_unit(session, unit_id)
    setting = session.get(SpeedSetting, setting_id)
    if setting is None:
        raise NotFound("setting", setting_id)
    if setting.unit_under_test_id != unit_id:
        raise InvalidValue(
            f"Setting {setting_id} belongs to another unit than {unit.maker} {unit.model}. Choose one of this unit.",
            field="setting",
        )
    return setting


def take_back(
    session: Session, row: SoundMeasurement | PowerMeasurement | OzoneTest, words: str, *, who: str, why: str
) -> None:
    """Removes a wrong entry; what it said, who took it back and why stay in the record of changes."""
    reason = required_text(why, "why", "The reason for taking it back")
    record_change(session, who, "taken back", SUBJECT, row.unit_under_test_id, words.split(":")[0], words, None, reason)
    session.delete(row)
    session.flush()

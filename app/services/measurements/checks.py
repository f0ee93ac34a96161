"""The settings of a unit, for sound, power and claims."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.units.entry import get_unit
from app.storage.models.units_under_test import SpeedSetting


def settings_of_unit(session: Session, unit_id: int) -> Sequence[SpeedSetting]:
    """From the slowest."""
    of_unit = select(SpeedSetting).where(SpeedSetting.unit_under_test_id == unit_id)
    return session.scalars(of_unit.order_by(SpeedSetting.position)).all()


def setting_of_unit(session: Session, unit_id: int, setting_id: int) -> SpeedSetting:
    """The setting, if it belongs to the unit; raises NotFound or InvalidValue."""
    unit = get_unit(session, unit_id)
    setting = session.get(SpeedSetting, setting_id)
    if setting is None:
        raise NotFound("setting", setting_id)
    if setting.unit_under_test_id != unit_id:
        raise InvalidValue(
            f"Setting {setting_id} does not belong to {unit.maker} {unit.model}. Choose a setting of this unit.",
            field="setting",
        )
    return setting

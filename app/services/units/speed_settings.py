"""Speed settings of a unit: names, order, and which one is the highest."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import required_text
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.units_under_test import SpeedSetting


def settings_of(session: Session, unit_id: int) -> Sequence[SpeedSetting]:
    """The settings of a unit, from the slowest to the fastest."""
    return session.scalars(
        select(SpeedSetting).where(SpeedSetting.unit_under_test_id == unit_id).order_by(SpeedSetting.position)
    ).all()


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


def units_of_settings(session: Session, setting_ids: Sequence[int]) -> tuple[int, ...]:
    """The units that settings belong to, each once; unknown settings have none."""
    asked = select(SpeedSetting.id, SpeedSetting.unit_under_test_id).where(SpeedSetting.id.in_(setting_ids))
    unit_of = {row.id: row.unit_under_test_id for row in session.execute(asked)}
    return tuple(dict.fromkeys(unit_of[setting_id] for setting_id in setting_ids if setting_id in unit_of))


def rename_setting(session: Session, setting_id: int, name: str, *, field: str, who: str = AT_THE_DESK) -> None:
    """Renames a setting; `field` is the form field of the error."""
    setting = session.get(SpeedSetting, setting_id)
    if setting is None:
        raise NotFound("setting", setting_id)
    checked = required_text(name, field, "The name of the setting")
    if checked == setting.name:
        return
    others = [other for other in settings_of(session, setting.unit_under_test_id) if other.id != setting_id]
    if any(other.name.casefold() == checked.casefold() for other in others):
        raise InvalidValue(f"The unit already has a setting {checked!r}. Give this one another name.", field=field)
    record_change(session, who, "changed", SUBJECT, setting.unit_under_test_id, "setting", setting.name, checked)
    setting.name = checked


def choose_highest(session: Session, unit_id: int, setting_id: int | None, *, who: str = AT_THE_DESK) -> None:
    """Marks the unit's fastest setting, which the ranking shows by default; None: none is known."""
    settings = settings_of(session, unit_id)
    chosen = next((setting for setting in settings if setting.id == setting_id), None)
    if chosen is None and setting_id is not None:
        raise NotFound("setting of this unit", setting_id)
    before = next((setting.name for setting in settings if setting.is_highest), None)
    after = chosen.name if chosen else None
    if before == after:
        return
    for setting in settings:
        setting.is_highest = setting.id == setting_id
    record_change(session, who, "changed", SUBJECT, unit_id, "highest setting", before, after)

"""Units under test and their speed settings: adding and changing them, with a record of each change."""

from collections.abc import Collection
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, NotFound
from app.services.store.audit import AT_THE_DESK, record_change, write_changes
from app.services.store.entry_fields import changed_entry, checked_entry
from app.services.units.definitions import NewSetting, NewUnit
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

SUBJECT = "unit under test"
KINDS_THAT_MAY_MAKE_OZONE = ("electrostatic", "ioniser", "ultraviolet")


def has_units(session: Session) -> bool:
    """Whether there is any unit outside the trash."""
    return session.scalar(select(UnitUnderTest.id).where(UnitUnderTest.trashed_at.is_(None)).limit(1)) is not None


def units_that_may_make_ozone(session: Session, unit_ids: Collection[int]) -> tuple[str, ...]:
    """Names of those units whose technology can produce ozone."""
    found = session.execute(
        select(UnitUnderTest.maker, UnitUnderTest.model)
        .where(UnitUnderTest.id.in_(unit_ids), UnitUnderTest.makes_ozone == True)  # noqa: E712  # a column
        .order_by(UnitUnderTest.maker, UnitUnderTest.model)
    )
    return tuple(f"{maker} {model}" for maker, model in found)


def get_unit(session: Session, unit_id: int) -> UnitUnderTest:
    unit = session.get(UnitUnderTest, unit_id)
    if unit is None:
        raise NotFound("unit under test", unit_id)
    return unit


def add_unit(session: Session, new_unit: NewUnit, *, who: str = AT_THE_DESK, now: datetime | None = None) -> int:
    """Adds a unit under test and returns its id.

    Raises InvalidValue with the field, AlreadyStored if a unit has this maker and model.
    """
    values = _checked(new_unit)
    _refuse_second(session, values["maker"], values["model"])
    unit = UnitUnderTest(**values, created_at=now or datetime.now(UTC))
    session.add(unit)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit.id, after=f"{unit.maker} {unit.model}", at=now)
    return unit.id


def change_unit(
    session: Session, unit_id: int, changed: dict[str, object], *, who: str = AT_THE_DESK, why: str = ""
) -> UnitUnderTest:
    """Changes the given fields of a unit; each actual change is recorded with the old value."""
    unit = get_unit(session, unit_id)
    values = _checked(changed_entry(NewUnit, unit, changed, "A unit"))
    if (values["maker"], values["model"]) != (unit.maker, unit.model):
        _refuse_second(session, values["maker"], values["model"], apart_from=unit_id)
    write_changes(session, unit, values, SUBJECT, unit_id, who=who, why=why)
    return unit


def add_setting(session: Session, unit_id: int, new: NewSetting, *, who: str = AT_THE_DESK) -> int:
    """Adds a speed setting and returns its id."""
    unit = get_unit(session, unit_id)
    values = checked_entry(new)
    name = values["name"]
    present = session.scalars(select(SpeedSetting).where(SpeedSetting.unit_under_test_id == unit_id)).all()
    if any(setting.name.casefold() == name.casefold() for setting in present):
        raise AlreadyStored(
            f"{unit.maker} {unit.model} already has a setting {name!r}. Choose it from the list, or give the "
            "new one another name.",
            field="setting",
        )
    if new.is_highest:
        for setting in present:
            setting.is_highest = False
    if new.position is None:
        values["position"] = max((s.position for s in present), default=0) + 1
    setting = SpeedSetting(unit_under_test_id=unit_id, **values)
    session.add(setting)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "setting", None, name)
    return setting.id


def find_setting(session: Session, unit_id: int, name: str) -> int | None:
    """Id of the setting with this name, case-insensitively."""
    return session.scalar(
        select(SpeedSetting.id).where(
            SpeedSetting.unit_under_test_id == unit_id, func.lower(SpeedSetting.name) == name.strip().lower()
        )
    )


def find_unit(session: Session, maker: str, model: str) -> int | None:
    """Id of the unit with this maker and model, case-insensitively."""
    return session.scalar(
        select(UnitUnderTest.id).where(
            func.lower(UnitUnderTest.maker) == maker.strip().lower(),
            func.lower(UnitUnderTest.model) == model.strip().lower(),
        )
    )


def _refuse_second(session: Session, maker: str, model: str, apart_from: int | None = None) -> None:
    present = find_unit(session, maker, model)
    if present is not None and present != apart_from:
        raise AlreadyStored(
            f"{maker} {model} already exists as unit {present}. Open that unit, restore it if it is in the trash, or "
            "give this one another model name.",
            field="model",
        )


def _checked(new: NewUnit) -> dict[str, Any]:
    values = checked_entry(new)
    if values["makes_ozone"] is None:
        values["makes_ozone"] = values["kind"] in KINDS_THAT_MAY_MAKE_OZONE
    return values

"""Query fragment for the highest setting of a unit."""

from typing import cast

from sqlalchemy import ColumnElement, Integer, Table, select, type_coerce

from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest


def highest_setting_id() -> ColumnElement[int]:
    """Id of the setting marked as highest, or of the last one if none is; for a query over units."""
    unit, other = cast(Table, UnitUnderTest.__table__), cast(Table, SpeedSetting.__table__).alias().c
    return (
        select(other.id)
        .where(other.unit_under_test_id == unit.c.id)
        .order_by(type_coerce(other.is_highest, Integer).desc(), other.position.desc(), other.id.desc())
        .limit(1)
        .correlate(unit)
        .scalar_subquery()
    )

"""Query fragment for the highest setting of a unit."""

from sqlalchemy import ColumnElement, Integer, select, type_coerce
from sqlalchemy.orm import aliased

from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest


def highest_setting_id() -> ColumnElement[int]:
    """Id of the setting marked as highest, or of the last one if none is; for a query over units."""
    other = aliased(SpeedSetting)
    return (
        select(other.id)
        .where(other.unit_under_test_id == UnitUnderTest.id)
        .order_by(type_coerce(other.is_highest, Integer).desc(), other.position.desc(), other.id.desc())
        .limit(1)
        .correlate(UnitUnderTest)
        .scalar_subquery()
    )

"""Kind and size of a bench's store."""

from dataclasses import dataclass

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from app.storage.models.logs import Log
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import UnitUnderTest


@dataclass(frozen=True, slots=True)
class StoreSize:
    """`in_server`: in a database server, not a file; `readings` counts rows, each with all channels."""

    in_server: bool
    size_bytes: int
    units: int
    trials: int
    readings: int


def store_size(session: Session) -> StoreSize:
    in_server = session.get_bind().dialect.name != "sqlite"
    size = (
        "pg_database_size(current_database())"
        if in_server
        else "(SELECT page_count FROM pragma_page_count) * (SELECT page_size FROM pragma_page_size)"
    )
    return StoreSize(
        in_server=in_server,
        size_bytes=session.scalar(text(f"SELECT {size}")) or 0,
        units=session.scalar(select(func.count()).select_from(UnitUnderTest)) or 0,
        trials=session.scalar(select(func.count()).select_from(Trial)) or 0,
        readings=session.scalar(select(func.sum(Log.readings))) or 0,
    )

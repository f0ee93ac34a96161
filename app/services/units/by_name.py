"""Finds units by number, or by maker and model."""

from collections.abc import Iterable

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.storage.models.units_under_test import UnitUnderTest


def unit_ids_from(session: Session, names: Iterable[str]) -> list[int]:
    """Ids of the named units, without duplicates. Raises NotFound for an unknown or trashed unit."""
    rows = session.execute(
        select(UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model).where(UnitUnderTest.trashed_at.is_(None))
    ).all()
    known = {str(row.id): row.id for row in rows} | {f"{row.maker} {row.model}".casefold(): row.id for row in rows}
    found: dict[int, None] = {}
    for name in names:
        key = " ".join(name.split()).casefold()
        if key not in known:
            raise NotFound("unit under test", name)
        found[known[key]] = None
    return list(found)

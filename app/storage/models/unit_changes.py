"""How often anything about a unit was changed, counted by the store itself.

On SQLite triggers count with every change of a row that the ranking, the costs or the advice rest on, whoever makes
it, so that what a process keeps in memory can be renewed for the units that changed and for no others. On PostgreSQL
the table stays empty: there the snapshot of a transaction tells whether anything changed.
"""

from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base

WHOLE_BENCH = 0  # the line that counts every change, of units and of what all units share


class UnitChanges(Base):
    """One line a unit that was ever changed, and one for the whole bench. No foreign key: the line of a unit that was
    removed has to stay, because it tells of the removal."""

    __tablename__ = "unit_changes"
    __table_args__ = (STRICT,)

    unit_under_test_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    changes: Mapped[int]

"""Counter of changes per unit, maintained by the database itself.

Triggers count every change of a row that the ranking, the costs or the advice use, whoever makes it, so that in-memory
data can be renewed for the changed units only. A count grows with each change on SQLite, and with each transaction on
PostgreSQL.
"""

from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base
from app.storage.models.logs import RowNumber

WHOLE_BENCH = 0  # row that counts every change, of units and of shared data


class UnitChanges(Base):
    """One row per unit that was ever changed, and one for the whole bench. No foreign key: the row of a removed unit
    must remain, because it records the removal.
    """

    __tablename__ = "unit_changes"
    __table_args__ = (STRICT,)

    unit_under_test_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    changes: Mapped[int] = mapped_column(RowNumber)

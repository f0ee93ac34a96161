"""The record of changes over the whole bench, newest first."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.services.bench_lists import ListPart, list_part
from app.storage.bench import Change

# Recomputed numbers follow from another change, which is listed itself.
CONSEQUENCE = "recomputed"


def recent_changes(
    session: Session, limit: int = 100, cursor: str | None = None, *, subject: str = "", consequences: bool = True
) -> ListPart[Change]:
    """Changes, newest first; of one kind of thing where `subject` names it.

    consequences : False leaves out the numbers that moved because of another change
    """
    statement = select(Change)
    if subject:
        statement = statement.where(Change.subject == subject)
    if not consequences:
        statement = statement.where(Change.action != CONSEQUENCE)
    return list_part(session, statement, Change.id, limit, cursor, newest_first=True)

"""The record of every change: who, when, what it was, what it became, and why. Rows are only ever added."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.hidden_marks import without_hidden_marks
from app.storage.models.bench import Change

# Who acts where nobody gave a name: the person at the desk, on their own machine.
AT_THE_DESK = "desk"
# Where a session keeps the name of the account that acts in it; it counts over any name that was typed.
ACTING = "acting"


def acting_name(session: Session, typed: str = "") -> str:
    """Who acts: the account that is signed in, else the name that was typed, else the person at the desk."""
    return str(session.info.get(ACTING) or typed.strip() or AT_THE_DESK)


def record_change(
    session: Session,
    who: str,
    action: str,
    subject: str,
    subject_id: int,
    field: str = "",
    before: object = None,
    after: object = None,
    why: str = "",
    *,
    at: datetime | None = None,
) -> Change:
    """Adds one row to the record; the session that holds the change itself also holds this row.

    who : the name that was typed; the account that is signed in takes its place
    action : added, changed, excluded, restored, trashed, untrashed, recomputed, taken back
    subject, subject_id : the thing changed, such as ("trial", 12)
    before, after : values of the field; None means that there was none
    """
    change = Change(
        at=at or datetime.now(UTC),
        who=without_hidden_marks(acting_name(session, who)),
        action=action,
        subject=subject,
        subject_id=subject_id,
        field=field,
        before=recorded_text(before),
        after=recorded_text(after),
        why=without_hidden_marks(why),
    )
    session.add(change)
    return change


def changes_of(session: Session, subject: str, subject_id: int) -> Sequence[Change]:
    """Everything recorded about one thing, newest first."""
    return session.scalars(
        select(Change).where(Change.subject == subject, Change.subject_id == subject_id).order_by(Change.id.desc())
    ).all()


def recorded_text(value: object) -> str | None:
    """A value as the record keeps it; None where there was none."""
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.12g}"
    return value.isoformat() if isinstance(value, datetime) else str(value)

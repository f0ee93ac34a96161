"""What was written by plain statements is read again: objects of the session do not see such a write by themselves."""

from sqlalchemy.orm import Session

from app.storage.models.base import Base


def read_again(session: Session, written: type[Base]) -> None:
    """Lets the session's objects of one table be read again when next asked for; the others keep what they hold."""
    for held in session:
        if isinstance(held, written):
            session.expire(held)

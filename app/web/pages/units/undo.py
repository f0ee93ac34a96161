"""Undoing the last change of a unit, offered on its page."""

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse

from app.errors import NotAllowed
from app.services.bench.choices import bench_choices
from app.services.history.change_labels import field_label
from app.services.measurements.undo import LastChange, last_change, undo_last_change
from app.web.api.shapes import Id
from app.web.current_user import signed_in_name, user_may
from app.web.dependencies import SessionDep
from app.web.forms.typed_form import TypedFormDep
from app.web.routers import page_router

router = page_router()


@dataclass(frozen=True, slots=True)
class UndoOffer:
    """What was changed last, and until when it can be undone."""

    change_id: int
    words: str
    until: str


def undo_offer(session: Session, unit_id: int) -> UndoOffer | None:
    """The offer, None if nothing can be undone or the user may not."""
    last = last_change(session, unit_id) if user_may("add") else None
    if last is None or not _may_undo(last):
        return None
    until = last.until.astimezone(ZoneInfo(bench_choices(session).timezone))
    more = len(last.entries) - 1
    words = _words(last.entries[-1]) + (f", and {more} more" if more else "")
    return UndoOffer(last.id, words, f"{until:%H:%M}")


@router.post("/units/{unit_id}/undo")
def undone(unit_id: Id, session: SessionDep, form: TypedFormDep) -> RedirectResponse:
    """Undoes the change that the page showed. Those who may only add may undo what they added themselves."""
    change_id = form.whole_number("change_id", "The change")
    last = last_change(session, unit_id)
    if last is not None and not _may_undo(last):
        raise NotAllowed("Only who made this change may undo it, or a user with the role “edit”.")
    undo_last_change(session, unit_id, change_id or 0, who=form.text("who"))
    return RedirectResponse(f"/units/{unit_id}#checklist", 303)


def _may_undo(last: LastChange) -> bool:
    return user_may("edit") or last.who == signed_in_name()


def _words(entry: Any) -> str:
    """Of an entry of the record of changes."""
    if entry.action == "added":
        return f"Added: {entry.field}, {(entry.after or '').splitlines()[0]}"
    return f"Changed: {field_label(entry.field).strip()}"

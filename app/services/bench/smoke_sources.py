"""Changing a smoke source; `rooms.py` adds them."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.bench.rooms import AEROSOLS, find_smoke_source
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import one_of, optional_text, required_text
from app.storage.models.rooms_and_loggers import SmokeSource
from app.storage.models.trials import Trial


def get_smoke_source(session: Session, source_id: int) -> SmokeSource:
    source = session.get(SmokeSource, source_id)
    if source is None:
        raise NotFound("smoke source", source_id)
    return source


def change_smoke_source(
    session: Session, source_id: int, name: str, aerosol: str, notes: str, *, who: str = AT_THE_DESK
) -> SmokeSource:
    """Changes name, aerosol and notes; each actual change is recorded.

    The aerosol decides which trials are combined, so it cannot change once a trial uses the source.
    """
    source = get_smoke_source(session, source_id)
    values = {
        "name": required_text(name, "smoke_source", "The name of the smoke source"),
        "aerosol": one_of(aerosol, AEROSOLS, "aerosol", "The aerosol"),
        "notes": optional_text(notes, "smoke_source_notes", "The notes"),
    }
    other = find_smoke_source(session, values["name"])
    if other is not None and other != source_id:
        raise AlreadyStored(
            f"A smoke source {values['name']!r} is on the bench already. Give this one another name.",
            field="smoke_source",
        )
    if values["aerosol"] != source.aerosol and _has_trials(session, source_id):
        raise InvalidValue(
            f"Trials were made with {source.name} as {source.aerosol}, and results are combined by that. "
            "Add another smoke source instead of changing the aerosol of this one.",
            field="aerosol",
        )
    for field, after in values.items():
        before = getattr(source, field)
        if before != after:
            setattr(source, field, after)
            record_change(session, who, "changed", "smoke source", source_id, field, before, after)
    return source


def _has_trials(session: Session, source_id: int) -> bool:
    return session.scalar(select(Trial.id).where(Trial.smoke_source_id == source_id).limit(1)) is not None

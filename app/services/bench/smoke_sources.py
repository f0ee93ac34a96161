"""Smoke sources: what is burnt or dispersed, and the aerosol that it makes."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.bench.definitions import NewSmokeSource
from app.services.store.audit import AT_THE_DESK, record_change, write_changes
from app.services.store.entry_fields import changed_entry, checked_entry
from app.storage.models.loggers import SmokeSource
from app.storage.models.trials import Trial


def get_smoke_source(session: Session, source_id: int) -> SmokeSource:
    source = session.get(SmokeSource, source_id)
    if source is None:
        raise NotFound("smoke source", source_id)
    return source


def add_smoke_source(session: Session, new: NewSmokeSource, *, who: str = AT_THE_DESK) -> int:
    """Adds a smoke source and returns its id."""
    values = checked_entry(new)
    _refuse_second(session, values["name"])
    source = SmokeSource(**values)
    session.add(source)
    session.flush()
    record_change(session, who, "added", "smoke source", source.id, after=source.name)
    return source.id


def change_smoke_source(
    session: Session, source_id: int, changed: dict[str, object], *, who: str = AT_THE_DESK
) -> SmokeSource:
    """Changes the named fields.

    The aerosol decides which trials are combined, so it cannot change once a trial uses the source.
    """
    source = get_smoke_source(session, source_id)
    values = checked_entry(changed_entry(NewSmokeSource, source, changed, "A smoke source"))
    if values["name"] != source.name:
        _refuse_second(session, values["name"], apart_from=source_id)
    if values["aerosol"] != source.aerosol and _has_trials(session, source_id):
        raise InvalidValue(
            f"Existing trials used {source.name} as {source.aerosol}, and results are combined by aerosol. Add "
            "another smoke source instead of changing this one.",
            field="aerosol",
        )
    write_changes(session, source, values, "smoke source", source_id, who=who)
    return source


def find_smoke_source(session: Session, name: str) -> int | None:
    """Id of the smoke source of that name, capitals aside."""
    return session.scalar(select(SmokeSource.id).where(func.lower(SmokeSource.name) == name.strip().lower()))


def _refuse_second(session: Session, name: str, apart_from: int | None = None) -> None:
    present = find_smoke_source(session, name)
    if present is not None and present != apart_from:
        raise AlreadyStored(
            f"A smoke source {name!r} already exists. Choose it from the list, or give the new one another name.",
            field="smoke_source",
        )


def _has_trials(session: Session, source_id: int) -> bool:
    return session.scalar(select(Trial.id).where(Trial.smoke_source_id == source_id).limit(1)) is not None

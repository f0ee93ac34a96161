"""Named profiles for reading the files of one type of logger, so that columns are assigned by hand only once."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload

from app.errors import InvalidValue, NotFound
from app.reading_files.headers.channels import channel
from app.reading_files.log_table import ReadingChoices
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import required_text
from app.storage.models.loggers import LoggerProfile, LoggerProfileColumn


def save_profile(
    session: Session,
    name: str,
    choices: ReadingChoices,
    *,
    who: str = AT_THE_DESK,
    now: datetime | None = None,
    may_replace: bool = True,
) -> int:
    """Saves choices under a name and returns the profile's id; replaces a profile of that name.

    may_replace : False for users who may add but not change: a different profile of that name is then kept, and
            InvalidValue raised
    """
    checked_name = required_text(name, "profile_name", "The name of the logger profile")
    profile = session.scalar(
        select(LoggerProfile)
        .where(func.lower(LoggerProfile.name) == checked_name.lower())
        .options(selectinload(LoggerProfile.columns))
    )
    before = None if profile is None else _as_text(profile_choices(profile))
    if before is not None and before != _as_text(choices) and not may_replace:
        raise InvalidValue(
            f"The profile {checked_name!r} already exists and reads files differently; replacing it needs the role "
            "“edit”. Choose another name, or leave it empty.",
            field="profile_name",
        )
    if profile is None:
        profile = LoggerProfile(name=checked_name, created_at=now or datetime.now(UTC), columns=[])
        session.add(profile)
    else:
        profile.columns.clear()
        session.flush()  # delete the old columns before adding new ones with the same header
    profile.timezone = choices.timezone or ""
    profile.box = choices.box or ""
    profile.day_first = choices.day_first
    profile.header_line = choices.header_line
    headers = choices.columns.keys() | choices.units.keys()
    profile.columns.extend(
        LoggerProfileColumn(
            header=header, channel=choices.columns.get(header, ""), file_unit=choices.units.get(header, "")
        )
        for header in sorted(headers)
    )
    session.flush()
    after = _as_text(choices)
    if before != after:
        action = "added" if before is None else "changed"
        record_change(session, who, action, "logger profile", profile.id, "choices", before, after)
    return profile.id


def load_profile(session: Session, profile_id: int) -> ReadingChoices:
    """The choices of a profile. Raises NotFound for an unknown id."""
    profile = session.scalar(
        select(LoggerProfile).where(LoggerProfile.id == profile_id).options(selectinload(LoggerProfile.columns))
    )
    if profile is None:
        raise NotFound("logger profile", profile_id)
    return profile_choices(profile)


def list_profiles(session: Session) -> Sequence[LoggerProfile]:
    """All profiles by name, with their columns."""
    return session.scalars(
        select(LoggerProfile).order_by(LoggerProfile.name).options(selectinload(LoggerProfile.columns))
    ).all()


def profile_choices(profile: LoggerProfile) -> ReadingChoices:
    return ReadingChoices(
        timezone=profile.timezone or None,
        # a column with a unit and no channel had only its unit set; its channel comes from the header
        columns={c.header: c.channel for c in profile.columns if c.channel or not c.file_unit},
        units={c.header: c.file_unit for c in profile.columns if c.file_unit},
        box=profile.box or None,
        day_first=profile.day_first,
        header_line=profile.header_line,
    )


def _as_text(choices: ReadingChoices) -> str:
    columns = "; ".join(
        f"{header} = {channel(use).label if use else 'left out'}" for header, use in sorted(choices.columns.items())
    )
    units = "; ".join(f"{header} in {unit}" for header, unit in sorted(choices.units.items()))
    header = choices.header_line and f"columns named by line {choices.header_line}"
    parts = (choices.timezone, choices.box and f"box {choices.box}", header, columns, units)
    order = None if choices.day_first is None else ("day first" if choices.day_first else "month first")
    return ", ".join(part for part in (*parts, order) if part) or "everything detected"

"""Options of the trial form: units, settings, rooms, loggers, sources; and the last ones used."""

from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.storage.models.bench import Bench
from app.storage.models.loggers import Logger, LoggerProfile, SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest


@dataclass(frozen=True, slots=True)
class FormOption:
    """One option: id and label."""

    id: int
    words: str


@dataclass(frozen=True, slots=True)
class TrialFormOptions:
    """Options for a new trial, and the conditions of the last one.

    setting_names : of all units, the most used first
    """

    units: tuple[FormOption, ...]
    setting_names: tuple[str, ...]
    rooms: tuple[FormOption, ...]
    loggers: tuple[FormOption, ...]
    smoke_sources: tuple[FormOption, ...]
    profiles: tuple[FormOption, ...]
    timezone: str
    last_unit_id: int | None
    last_setting: str
    last_room_id: int | None
    last_logger_id: int | None
    last_smoke_source_id: int | None
    last_tested_by: str


def trial_form_options(session: Session) -> TrialFormOptions:
    """The options of this bench, without trashed units."""
    last = session.execute(
        select(Trial.room_id, Trial.logger_id, Trial.smoke_source_id, Trial.tested_by)
        .where(Trial.trashed_at.is_(None))
        .order_by(Trial.id.desc())
        .limit(1)
    ).first()
    room_id, logger_id, source_id, tested_by = last or (None, None, None, "")
    last_unit_id, last_setting = session.execute(
        select(Trial.unit_under_test_id, SpeedSetting.name)
        .join(SpeedSetting, SpeedSetting.id == Trial.setting_id)
        .join(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .where(Trial.trashed_at.is_(None), UnitUnderTest.trashed_at.is_(None))
        .order_by(Trial.id.desc())
        .limit(1)
    ).first() or (None, "")
    units = session.execute(
        select(UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model)
        .where(UnitUnderTest.trashed_at.is_(None))
        .order_by(UnitUnderTest.maker, UnitUnderTest.model)
    )
    rooms = session.execute(select(Room.id, Room.name, Room.room_volume_m3).order_by(Room.name))
    return TrialFormOptions(
        units=tuple(FormOption(unit_id, f"{maker} {model}") for unit_id, maker, model in units),
        setting_names=tuple(
            session.scalars(
                select(SpeedSetting.name)
                .group_by(SpeedSetting.name)
                .order_by(func.count().desc(), SpeedSetting.name)
                .limit(50)
            )
        ),
        rooms=tuple(FormOption(key, f"{name}, {volume:g} m³") for key, name, volume in rooms),
        loggers=logger_options(session),
        smoke_sources=_named(session, SmokeSource),
        profiles=_named(session, LoggerProfile),
        timezone=session.scalar(select(Bench.timezone)) or "UTC",
        last_unit_id=last_unit_id,
        last_setting=last_setting,
        last_room_id=room_id,
        last_logger_id=logger_id,
        last_smoke_source_id=source_id,
        last_tested_by=tested_by or "",
    )


def logger_options(session: Session) -> tuple[FormOption, ...]:
    return _named(session, Logger)


def _named(session: Session, table: type[Logger] | type[SmokeSource] | type[LoggerProfile]) -> tuple[FormOption, ...]:
    rows = session.execute(select(table.id, table.name).order_by(table.name))
    return tuple(FormOption(key, name) for key, name in rows)

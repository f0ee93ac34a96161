"""Adds the invented rooms, loggers, smoke sources, tariffs and units, through the services of the forms."""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time

from sqlalchemy.orm import Session

from app.errors import NotFound
from app.reading_files.log_table import ReadingChoices
from app.services.bench.choices import bench_choices, change_bench
from app.services.bench.definitions import NewLogger, NewRoom, NewSmokeSource, NewTariff
from app.services.bench.loggers import add_logger
from app.services.bench.rooms import add_room
from app.services.bench.smoke_sources import add_smoke_source
from app.services.bench.tariffs import add_tariff
from app.services.logs.logger_profiles import save_profile
from app.services.store.audit import record_change
from app.services.units.consumables import add_consumable, add_consumable_price, say_none_needed
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit
from app.services.units.prices import add_price
from app.storage.models.bench import Bench
from seed_demo.log_writers import LOCAL_ZONE
from seed_demo.scenario import (
    BENCH_NAME,
    CURRENCY,
    EDITOR,
    INVENTED_SHOP,
    LOGGERS,
    REVIEWER,
    ROOMS,
    SCENARIO,
    SOURCE_CAUTION,
    SOURCES,
    TARIFFS,
    InventedRoom,
)
from seed_demo.scenario_types import InventedUnit, Part

# Layouts with local time; the zone is stored in the logger's profile.
LOCAL_TIME_LAYOUTS = ("semicolon, decimal comma, local time", "workbook, mg/m³ and °F")


@dataclass(slots=True)
class BenchIds:
    """Ids of the added items, by name."""

    rooms: dict[str, int]
    sources: dict[str, int]
    loggers: dict[str, int]
    profiles: dict[str, int]
    units: dict[str, int]
    settings: dict[tuple[str, str], int]


def noon(day: date) -> datetime:
    return datetime.combine(day, time(18), tzinfo=UTC)


def name_bench(session: Session) -> None:
    """Marks the bench as invented, and sets its zone, currency and tariff."""
    bench = session.get(Bench, 1)
    if bench is None:
        raise NotFound("bench", 1)
    bench.invented = True
    bench.scenario = SCENARIO
    record_change(session, EDITOR, "changed", "bench", 1, "scenario", None, SCENARIO)
    own_tariff = None
    for row in TARIFFS:
        tariff_id = add_tariff(
            session,
            NewTariff(
                region=row.region,
                price_per_kwh=row.price_per_kwh,
                currency=CURRENCY,
                valid_from=row.valid_from,
                source=row.source,
                standing=row.standing,
            ),
            who=EDITOR,
        )
        own_tariff = own_tariff or tariff_id
    choices = bench_choices(session)
    change_bench(
        session,
        replace(
            choices, name=BENCH_NAME, timezone=LOCAL_ZONE, currency=CURRENCY, tariff_id=own_tariff, hours_per_day=12
        ),
        who=EDITOR,
        why="the desk of the scenario decided so",
    )


def add_surroundings(session: Session) -> BenchIds:
    """Rooms, smoke sources and loggers, each logger with a profile for its files."""
    ids = BenchIds({}, {}, {}, {}, {}, {})
    for room in ROOMS:
        add_invented_room(session, room, ids)
    for source in SOURCES:
        ids.sources[source.name] = add_smoke_source(
            session,
            NewSmokeSource(name=source.name, aerosol="smoke", notes=source.notes + SOURCE_CAUTION),
            who=REVIEWER,
        )
    for logger in LOGGERS:
        zone = LOCAL_ZONE if logger.layout in LOCAL_TIME_LAYOUTS else None
        profile = save_profile(session, f"{logger.name} files", ReadingChoices(timezone=zone), who=REVIEWER)
        ids.profiles[logger.name] = profile
        ids.loggers[logger.name] = add_logger(
            session,
            NewLogger(
                name=logger.name,
                profile_id=profile,
                principle=logger.principle,
                response_time_s=logger.sensor.response_time_s,
                saturation_level_ug_m3=logger.sensor.saturation_level,
                calibration="side by side in still smoke with the other three, each January (invented)",
                notes=logger.notes,
            ),
            who=REVIEWER,
        )
    return ids


def add_invented_room(session: Session, room: InventedRoom, ids: BenchIds) -> int:
    room_id = ids.rooms[room.name] = add_room(
        session,
        NewRoom(
            name=room.name,
            length_m=room.length_m,
            width_m=room.width_m,
            height_m=room.height_m,
            room_volume_m3=room.recorded_volume_m3,
            room_volume_uncertainty_m3=room.recorded_uncertainty_m3,
            furniture=room.furniture,
            notes=room.notes,
        ),
        who=REVIEWER,
    )
    return room_id


def add_invented_unit(session: Session, unit: InventedUnit, ids: BenchIds) -> int:
    """One unit with its speeds, prices and consumables."""
    bought_on = unit.prices[0][0]
    width, depth, height = unit.size_mm or (None, None, None)
    unit_id = add_unit(
        session,
        NewUnit(
            maker=unit.maker,
            model=unit.model,
            kind=unit.kind,
            width_mm=width,
            depth_mm=depth,
            height_mm=height,
            mass_kg=unit.mass_kg,
            bought_on=bought_on,
            bought_from=unit.bought_from,
            notes=unit.story,
        ),
        who=REVIEWER,
        now=noon(bought_on),
    )
    ids.units[unit.name] = unit_id
    for position, speed in enumerate(unit.speeds, start=1):
        new = NewSetting(name=speed.name, position=position, is_highest=speed is unit.highest)
        ids.settings[unit.name, speed.name] = add_setting(session, unit_id, new, who=REVIEWER)
    for day, amount in unit.prices:
        add_price(
            session, unit_id, NewPrice(amount=amount, currency=CURRENCY, seen_on=day, source=INVENTED_SHOP), who=EDITOR
        )
    if unit.parts == ():
        say_none_needed(session, unit_id, who=EDITOR)
    for part in unit.parts or ():
        _add_part(session, unit_id, part)
    return unit_id


def _add_part(session: Session, unit_id: int, part: Part) -> None:
    consumable_id = add_consumable(
        session,
        unit_id,
        NewConsumable(
            name=part.name,
            kind=part.kind,
            washable=part.washable,
            pieces_in_use=part.pieces_in_use,
            pack_size=part.pack_size,
            life_months=part.life_months,
            life_running_hours=part.life_running_hours,
            life_source="leaflet in the box (invented)",
            notes=part.notes,
        ),
        who=EDITOR,
    )
    for day, amount in part.prices:
        add_consumable_price(
            session,
            consumable_id,
            NewPrice(amount=amount, currency=CURRENCY, seen_on=day, source=INVENTED_SHOP),
            who=EDITOR,
        )

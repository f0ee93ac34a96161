"""Items whose ids a script needs for sending a trial: rooms, loggers, smoke sources, profiles and tariffs."""

from typing import Literal

from app.services.bench.definitions import NewLogger, NewRoom, NewSmokeSource, NewTariff
from app.services.logs.logger_profiles import list_profiles
from app.services.units.cursor_lists import list_loggers, list_rooms, list_smoke_sources, list_tariffs
from app.web.api.derived import answer
from app.web.api.shapes import Cursor, FromStore, Limit, OfBench, of_bench, problem_answers
from app.web.dependencies import SessionDep
from app.web.routers import api_router

router = api_router("bench")


@answer(NewRoom)
class RoomShape(FromStore):
    """A test room; the uncertainty of the volume is a standard uncertainty."""

    id: int
    room_volume_m3: float
    room_volume_uncertainty_m3: float


class RoomList(OfBench):
    rooms: list[RoomShape]
    next_cursor: str | None


@answer(NewLogger)
class LoggerShape(FromStore):
    id: int


class LoggerList(OfBench):
    loggers: list[LoggerShape]
    next_cursor: str | None


@answer(NewSmokeSource)
class SmokeSourceShape(FromStore):
    id: int
    aerosol: Literal["smoke", "dust", "pollen"]


class SmokeSourceList(OfBench):
    smoke_sources: list[SmokeSourceShape]
    next_cursor: str | None


class ProfileShape(FromStore):
    """How to read the files of one type of logger."""

    id: int
    name: str
    timezone: str
    box: str
    day_first: bool | None
    header_line: int | None


class ProfileList(OfBench):
    logger_profiles: list[ProfileShape]


@answer(NewTariff)
class TariffShape(FromStore):
    """A price per kilowatt-hour; `standing` is its verification status."""

    id: int


class TariffList(OfBench):
    tariffs: list[TariffShape]
    next_cursor: str | None


@router.get("/rooms", responses=problem_answers())
def rooms(session: SessionDep, limit: Limit = 100, cursor: Cursor = None) -> RoomList:
    part = list_rooms(session, limit, cursor)
    return RoomList(
        rooms=[RoomShape.model_validate(row) for row in part.rows], next_cursor=part.next_cursor, **of_bench(session)
    )


@router.get("/loggers", responses=problem_answers())
def loggers(session: SessionDep, limit: Limit = 100, cursor: Cursor = None) -> LoggerList:
    part = list_loggers(session, limit, cursor)
    return LoggerList(
        loggers=[LoggerShape.model_validate(row) for row in part.rows],
        next_cursor=part.next_cursor,
        **of_bench(session),
    )


@router.get("/smoke-sources", responses=problem_answers())
def smoke_sources(session: SessionDep, limit: Limit = 100, cursor: Cursor = None) -> SmokeSourceList:
    part = list_smoke_sources(session, limit, cursor)
    found = [SmokeSourceShape.model_validate(row) for row in part.rows]
    return SmokeSourceList(smoke_sources=found, next_cursor=part.next_cursor, **of_bench(session))


@router.get("/logger-profiles", responses=problem_answers())
def logger_profiles(session: SessionDep) -> ProfileList:
    return ProfileList(
        logger_profiles=[ProfileShape.model_validate(row) for row in list_profiles(session)], **of_bench(session)
    )


@router.get("/tariffs", responses=problem_answers())
def tariffs(session: SessionDep, limit: Limit = 100, cursor: Cursor = None) -> TariffList:
    part = list_tariffs(session, limit, cursor)
    return TariffList(
        tariffs=[TariffShape.model_validate(row) for row in part.rows],
        next_cursor=part.next_cursor,
        **of_bench(session),
    )

"""A reader's choices for the ranking, and the options of the bench."""

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

from sqlalchemy import Connection, bindparam, func, select

from app.compute.clean_air.room_need import RULE_CEILING_M
from app.compute.cost_and_energy.running_cost import CostAssumptions
from app.errors import InvalidValue
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.storage.models.bench import Bench, Tariff
from app.storage.models.rooms import Room
from app.storage.models.summaries import SettingSummary
from app.storage.models.units_under_test import SpeedSetting

HIGHEST, QUIETEST, EVERY = "highest", "quietest", "every"
ROOM_RULES = ("1.55 rule", "air changes")
SortKey = Literal[
    "clean_air_delivery_rate",
    "air_changes",
    "standard_clearing_time",
    "time_to_clear",
    "sound",
    "power",
    "price",
    "running_cost",
    "name",
    "kind",
    "trials",
    "clean_air_per_watt",
    "clean_air_cost",
    "certified_smoke",
    "federal_energy_factor",
    "ozone",
]
SORT_KEYS: tuple[SortKey, ...] = get_args(SortKey)
EXTRA_COLUMNS = {  # read only if a reader selects them
    "clean_air_per_watt": "Clean air per watt at test power",
    "clean_air_cost": "1,000\u00a0m³ of clean air",
    "certified_smoke": "Certified smoke rate",
    "federal_energy_factor": "US federal energy factor",
    "ozone": "Ozone",
}
LARGER_FIRST = frozenset(
    {
        "clean_air_delivery_rate",
        "air_changes",
        "trials",
        "clean_air_per_watt",
        "certified_smoke",
        "federal_energy_factor",
    }
)
MOST_ROWS = 1000
DEFAULT_ROWS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class RankingChoices:
    """All choices in the URL of a ranking; the defaults are those of "/".

    setting : "highest", "quietest", "every", or the name of a setting
    channel, aerosol, room_id : which summaries; empty: the bench's main channel, smoke, the room with most trials
    room_area_m2 : floor of the reader's room; units too weak for it by `room_rule` are excluded
    air_changes_per_h, room_height_m : used by the rule "air changes"
    hours_per_day, price_per_kwh : for the running cost; None: the bench's
    sort, descending : None: best first
    """

    setting: str = HIGHEST
    channel: str = ""
    aerosol: str = "smoke"
    room_id: int | None = None
    search: str = ""
    kind: str = ""
    max_price: float | None = None
    max_sound_dba: float | None = None
    room_area_m2: float | None = None
    room_height_m: float = RULE_CEILING_M
    room_rule: str = ROOM_RULES[0]
    air_changes_per_h: float = 5.0
    hours_per_day: float | None = None
    price_per_kwh: float | None = None
    sort: str = SORT_KEYS[0]
    descending: bool | None = None
    limit: int = DEFAULT_ROWS
    offset: int = 0

    @property
    def larger_first(self) -> bool:
        return self.sort in LARGER_FIRST if self.descending is None else self.descending


@dataclass(frozen=True, slots=True)
class AvailableRoom:
    """A test room with summaries, and its number of trials."""

    id: int
    name: str
    room_volume_m3: float
    trials: int


@dataclass(frozen=True, slots=True)
class Offered:
    """Options of this bench, and the defaults.

    price_per_kwh : None without a tariff and without the reader's own price
    """

    main_channel: str
    channels: tuple[str, ...]
    aerosols: tuple[str, ...]
    rooms: tuple[AvailableRoom, ...]
    setting_names: tuple[str, ...]
    currency: str
    standard_distance_m: float
    sound_correction_rule: str
    price_per_kwh: float | None
    tariff_region: str
    hours_per_day: float
    days_per_year: float

    def room(self, room_id: int | None) -> AvailableRoom | None:
        return next((room for room in self.rooms if room.id == room_id), None)

    def assumptions(self) -> CostAssumptions | None:
        """Assumptions of the running cost; None without an electricity price."""
        if self.price_per_kwh is None:
            return None
        return CostAssumptions(self.price_per_kwh, self.currency, self.days_per_year)


def read_offered(snapshot: BenchSnapshot, choices: RankingChoices) -> tuple[RankingChoices, Offered]:
    """The choices with defaults filled in from the bench, and the other options.

    Raises InvalidValue, naming the field, for an unknown option.
    """
    asked = RankingChoices(
        channel=choices.channel,
        aerosol=choices.aerosol,
        price_per_kwh=choices.price_per_kwh,
        hours_per_day=choices.hours_per_day,
    )
    offered = snapshot.view(_read_offered, asked)
    return filled_choices(choices, offered), offered


# Built once, because building a query takes longer than running it.
_BENCH = select(
    Bench.main_channel,
    Bench.currency,
    Bench.standard_distance_m,
    Bench.sound_correction_rule,
    Bench.hours_per_day,
    Bench.days_per_year,
    Tariff.price_per_kwh,
    Tariff.region,
    Tariff.currency,
).outerjoin(Tariff, Tariff.id == Bench.tariff_id)
_SUMMARISED = select(SettingSummary.channel, SettingSummary.aerosol, SettingSummary.room_id).distinct()
_SETTING_NAMES = (
    select(SpeedSetting.name).group_by(SpeedSetting.name).order_by(func.count().desc(), SpeedSetting.name).limit(30)
)
_TRIALS_OF_ROOMS = (
    select(SettingSummary.room_id, func.sum(SettingSummary.trials))
    .where(SettingSummary.channel == bindparam("channel"), SettingSummary.aerosol == bindparam("aerosol"))
    .group_by(SettingSummary.room_id)
)
_ROOMS = select(Room.id, Room.name, Room.room_volume_m3).where(Room.id.in_(bindparam("ids", expanding=True)))


def _read_offered(snapshot: BenchSnapshot, choices: RankingChoices) -> Offered:
    connection = snapshot.session.connection()
    bench = connection.execute(_BENCH).first()
    summarised = connection.execute(_SUMMARISED).all()
    names = connection.scalars(_SETTING_NAMES).all()
    main_channel, currency = (bench[0], bench[1]) if bench else ("pm2_5", "USD")
    tariff_fits = bench is not None and bench[8] == currency
    channel = choices.channel or main_channel
    channels = tuple(
        dict.fromkeys(row[0] for row in sorted(summarised, key=lambda row: (row[0] != main_channel, row[0])))
    )
    return Offered(
        main_channel=main_channel,
        channels=channels or (channel,),
        aerosols=tuple(sorted({row[1] for row in summarised})) or (choices.aerosol,),
        rooms=_rooms_with_results(connection, {row[2] for row in summarised}, channel, choices.aerosol),
        setting_names=tuple(names),
        currency=currency,
        standard_distance_m=bench[2] if bench else 1.0,
        sound_correction_rule=bench[3] if bench else "ISO 3746",
        price_per_kwh=choices.price_per_kwh
        if choices.price_per_kwh is not None
        else (bench[6] if bench is not None and tariff_fits else None),
        tariff_region=bench[7] if bench is not None and tariff_fits and choices.price_per_kwh is None else "",
        hours_per_day=choices.hours_per_day if choices.hours_per_day is not None else (bench[4] if bench else 24.0),
        days_per_year=bench[5] if bench else 365.0,
    )


def _rooms_with_results(connection: Connection, ids: set[int], channel: str, aerosol: str) -> tuple[AvailableRoom, ...]:
    """The rooms with these ids, the one with most trials of the channel and aerosol first."""
    trials = dict(connection.execute(_TRIALS_OF_ROOMS, {"channel": channel, "aerosol": aerosol}).all())
    rooms = connection.execute(_ROOMS, {"ids": list(ids)})
    found = [AvailableRoom(id_, name, volume, int(trials.get(id_, 0))) for id_, name, volume in rooms]
    return tuple(sorted(found, key=lambda room: (-room.trials, room.name)))


def filled_choices(choices: RankingChoices, offered: Offered) -> RankingChoices:
    """The choices with defaults filled in from the bench.

    Raises InvalidValue, naming the field, for an unknown option.
    """
    first_room = offered.rooms[0].id if offered.rooms else None
    filled = replace(
        choices,
        channel=choices.channel or offered.main_channel,
        room_id=choices.room_id if choices.room_id is not None else first_room,
    )
    _check(filled, offered)
    return filled


def _check(choices: RankingChoices, offered: Offered) -> None:
    _one_of(choices.channel, offered.channels, "channel", "The channel")
    _one_of(choices.aerosol, offered.aerosols, "aerosol", "The aerosol")
    _one_of(choices.sort, SORT_KEYS, "sort", "The column to sort by")
    _one_of(choices.room_rule, ROOM_RULES, "room_rule", "The sizing rule")
    if choices.room_id is not None and offered.room(choices.room_id) is None:
        there = ", ".join(f"{room.id} ({room.name})" for room in offered.rooms) or "none yet"
        raise InvalidValue(
            f"There is no test room {choices.room_id} with results; there are: {there}.", field="room_id"
        )
    known = (HIGHEST, QUIETEST, EVERY, *offered.setting_names)
    if choices.setting.casefold() not in {name.casefold() for name in known}:
        raise InvalidValue(f"The setting is {choices.setting!r}; choose one of: {', '.join(known)}.", field="setting")
    for field, words, value, unit in (
        ("max_price", "The maximum price", choices.max_price, offered.currency),
        ("max_sound_dba", "The maximum sound level", choices.max_sound_dba, "dB(A)"),
        ("price_per_kwh", "The electricity price", choices.price_per_kwh, f"{offered.currency} per kWh"),
    ):
        if value is not None and not (math.isfinite(value) and value >= 0):
            raise InvalidValue(f"{words} is {value:g} {unit}; it must be zero or above. Correct it.", field=field)
    for field, words, value, unit in (
        ("room_area_m2", "The room area", choices.room_area_m2, "m²"),
        ("room_height_m", "The ceiling height", choices.room_height_m, "m"),
        ("air_changes_per_h", "The number of air changes", choices.air_changes_per_h, "per hour"),
    ):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InvalidValue(f"{words} is {value:g} {unit}; it must be above zero. Correct it.", field=field)
    if not (math.isfinite(offered.hours_per_day) and 0 <= offered.hours_per_day <= 24):
        raise InvalidValue(
            f"The unit runs {offered.hours_per_day} h a day; enter a value from 0 to 24.", field="hours_per_day"
        )
    check_part(choices)


def check_part(choices: RankingChoices) -> None:
    """Raises InvalidValue for an invalid limit or offset."""
    if not 1 <= choices.limit <= MOST_ROWS:
        raise InvalidValue(f"The limit is {choices.limit} rows; 1 to {MOST_ROWS} are allowed.", field="limit")
    if choices.offset < 0:
        raise InvalidValue(f"The list starts at {choices.offset}; it must be zero or above.", field="offset")


def _one_of(value: str, known: tuple[str, ...], field: str, what: str) -> None:
    if value not in known:
        raise InvalidValue(f"{what} is {value!r}; choose one of: {', '.join(known)}.", field=field)

"""Data types of the invented scenario."""

from dataclasses import dataclass
from datetime import date

from seed_demo.room_physics import BySize


@dataclass(frozen=True, slots=True)
class Speed:
    """A speed of an invented unit, with its true values.

    clean_air_m3_per_h : delivered for particles below 1 µm [m³/h]
    sound_dba : at 1 m in front of it, without the room's own level [dB(A)]
    power_w : [W];  wet_air_m3_per_h : air sent out saturated with water [m³/h]
    trials : ordinary trials in the large room; 0: this speed was not tested
    """

    name: str
    clean_air_m3_per_h: float
    sound_dba: float
    power_w: float
    wet_air_m3_per_h: float = 0.0
    trials: int = 1


@dataclass(frozen=True, slots=True)
class Part:
    """A consumable with its prices, date and amount per pack in the bench's currency; empty: no price found."""

    name: str
    prices: tuple[tuple[date, float], ...]
    kind: str = "filter"
    washable: bool = False
    pieces_in_use: int = 1
    pack_size: int = 1
    life_months: float | None = None
    life_running_hours: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class CertifiedRate:
    """A certified rate in m³/h, or None: not listed on that day."""

    aerosol: str
    rate_m3_per_h: float | None
    seen_on: date
    sister_model: str = ""
    stated_in_cfm: bool = False


@dataclass(frozen=True, slots=True)
class MakersClaim:
    """A claim of the invented maker, in one line."""

    quantity: str
    value: float | None
    unit_symbol: str
    wording: str
    bound: str = "about"
    speed: str | None = None
    distance_m: float | None = None
    room_area_m2: float | None = None
    aerosol: str = ""


@dataclass(frozen=True, slots=True)
class Ozone:
    """A recorded ozone value [ppb]."""

    ozone_ppb: float
    below_detection: bool = False


@dataclass(frozen=True, slots=True)
class InventedUnit:
    """A unit of the scenario. `by_size` multiplies the clean air rate of a speed for the three size classes."""

    maker: str
    model: str
    kind: str
    speeds: tuple[Speed, ...]
    standby_w: float
    prices: tuple[tuple[date, float], ...]
    parts: tuple[Part, ...] | None  # empty: none needed; None: not known
    story: str
    by_size: BySize = (1.0, 1.01, 1.03)
    voc_m3_per_h: float = 0.0
    size_mm: tuple[float, float, float] | None = None  # width, depth, height
    mass_kg: float | None = None
    bought_from: str = "bought by the desk in an invented shop"
    ratings: tuple[CertifiedRate, ...] = ()
    claims: tuple[MakersClaim, ...] = ()
    ozone: Ozone | None = None
    small_room_trials: int = 0  # further trials of the highest speed in the small room

    @property
    def name(self) -> str:
        return f"{self.maker} {self.model}"

    @property
    def highest(self) -> Speed:
        return self.speeds[-1]

    def speed(self, name: str) -> Speed:
        return next(speed for speed in self.speeds if speed.name == name)

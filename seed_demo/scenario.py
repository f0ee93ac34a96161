"""The invented scenario: rooms, smoke sources, loggers and units. Everything here is made up."""

from dataclasses import dataclass, replace
from datetime import date

from seed_demo.room_physics import BySize
from seed_demo.scenario_types import InventedUnit
from seed_demo.sensor import SensorCharacter
from seed_demo.units_large import LARGE_UNITS
from seed_demo.units_other_kinds import OTHER_UNITS
from seed_demo.units_small import SMALL_FILTER_UNITS

SEED = 20250128
BENCH_NAME = "Ferry Lane bench (invented)"
SCENARIO = (
    "Invented for demonstration: a desk of three at Ferry Lane burns smoke in a former dairy; the desk, rooms, makers, "
    "machines, prices and stories are made up, and every log was computed by a simulation."
)
CURRENCY = "USD"
REVIEWER, SECOND_REVIEWER, EDITOR = "Wenna", "Tobit", "Isolde"
INVENTED_SHOP = "invented shop list"

SMOKE_SHARES: BySize = (0.91, 0.07, 0.02)  # mass of the smoke by size class


@dataclass(frozen=True, slots=True)
class InventedRoom:
    """A room as recorded on the bench, and the true volume of its air [m³]."""

    name: str
    length_m: float
    width_m: float
    height_m: float
    recorded_volume_m3: float
    recorded_uncertainty_m3: float
    true_volume_m3: float
    air_change_per_h: float
    furniture: str
    notes: str


@dataclass(frozen=True, slots=True)
class InventedSource:
    """What is burnt: minutes of smoke."""

    name: str
    burning_min: float
    notes: str


@dataclass(frozen=True, slots=True)
class InventedLogger:
    """A logger, the layout of its files (a name in `log_writers.LAYOUTS`), and the faults of its detector."""

    name: str
    layout: str
    file_stem: str
    principle: str
    sensor: SensorCharacter
    notes: str


LARGE_ROOM = InventedRoom(
    name="Churn room",
    length_m=4.60,
    width_m=3.40,
    height_m=2.44,
    recorded_volume_m3=37.6,
    recorded_uncertainty_m3=0.5,
    true_volume_m3=37.4,
    air_change_per_h=0.22,
    furniture="a sofa, a bookshelf half full, a rug, a table with the logger at breathing height",
    notes="Sides by tape measure, less 0.6 m³ of furniture. Door and window are taped for each run.",
)
SMALL_ROOM = InventedRoom(
    name="Butter store",
    length_m=3.10,
    width_m=2.40,
    height_m=2.40,
    recorded_volume_m3=17.6,
    recorded_uncertainty_m3=0.25,
    true_volume_m3=17.7,
    air_change_per_h=0.30,
    furniture="a bed, a chair",
    notes="Sides by tape measure, less 0.25 m³ of furniture. Stands for a bedroom.",
)
ROOMS = (LARGE_ROOM, SMALL_ROOM)

INCENSE = InventedSource("three incense cones in a lidded tin", 6.0, "Lid off for six minutes, then closed.")
PAPER = InventedSource(
    "smouldering paper in a lidded tin", 4.0, "Lid off for four minutes, then closed and carried out."
)
SOURCES = (INCENSE, PAPER)
SOURCE_CAUTION = (
    " Burning anything indoors gives off carbon monoxide and may start a fire: the desk of the scenario stays outside "
    "the room, with a carbon monoxide alarm in it and water at the door. Local fire rules come first."
)

TWIN = InventedLogger(
    "Corrie twin photometer",
    "comma, ISO time with offset",
    "corrie",
    "light scattering, two detectors",
    SensorCharacter(1.04, 0.012, 0.3, 20.0, 5.0, 0.1, 1000.0, kappa_over_density=0.10),
    "Stops at 1,000 µg/m³. No heater in the inlet: wet smoke reads high.",
)
DUST_RECORDER = InventedLogger(
    "Fen dust recorder",
    "semicolon, decimal comma, local time",
    "fen",
    "light scattering",
    SensorCharacter(0.95, 0.020, 0.6, 30.0, 10.0, 0.1, 2000.0, kappa_over_density=0.12),
    "Writes local time without saying so.",
)
HEATED = InventedLogger(
    "Tarn heated smoke logger",
    "tab, elapsed seconds",
    "tarn",
    "light scattering, heated inlet",
    SensorCharacter(1.00, 0.020, 0.8, 40.0, 15.0, 1.0, 1000.0, kappa_over_density=0.0),
    "The heated inlet dries the smoke. Whole µg/m³ only; answers slowly.",
)
COUNTER = InventedLogger(
    "Moraine counter",
    "workbook, mg/m³ and °F",
    "moraine",
    "light scattering, and a metal-oxide cell for volatile compounds",
    SensorCharacter(1.08, 0.015, 0.6, 25.0, 8.0, 1.0, 3000.0, kappa_over_density=0.12),
    "Writes workbooks, in mg/m³ and °F.",
)
LOGGERS = (TWIN, DUST_RECORDER, HEATED, COUNTER)

UNITS: tuple[InventedUnit, ...] = SMALL_FILTER_UNITS + LARGE_UNITS + OTHER_UNITS


def detector(logger: InventedLogger, channel: str) -> SensorCharacter:
    """Character of one channel: coarse particles are few, so PM10 is noisier; VOC is in ppm."""
    if channel == "pm10":
        return replace(logger.sensor, gain=0.9 * logger.sensor.gain, proportional_noise=0.05)
    if channel == "pm2_5_b":
        return replace(logger.sensor, gain=0.98 * logger.sensor.gain)
    if channel == "voc":
        return SensorCharacter(1.0, 0.03, 0.015, 60.0, 30.0, 0.01)
    return logger.sensor


@dataclass(frozen=True, slots=True)
class RegionTariff:
    """Price per kilowatt-hour with its source and verification status."""

    region: str
    price_per_kwh: float
    valid_from: date
    source: str
    standing: str


# Five rows of a published table and one invented bill. The table is a work of the US government.
_TABLE = "US EIA, Electric Power Annual, residential average price, data for 2023, released 17 October 2024"
TARIFFS = (
    RegionTariff("Ferry Lane (invented)", 0.168, date(2025, 1, 1), "invented bill", "own bill"),
    RegionTariff("California", 0.2951, date(2023, 1, 1), _TABLE, "read"),
    RegionTariff("Colorado", 0.1430, date(2023, 1, 1), _TABLE, "read"),
    RegionTariff("Connecticut", 0.2988, date(2023, 1, 1), _TABLE, "read"),
    RegionTariff("Hawaii", 0.4239, date(2023, 1, 1), _TABLE, "read"),
    RegionTariff("Idaho", 0.1105, date(2023, 1, 1), _TABLE, "read"),
)

"""What is entered of the bench: rooms, loggers, smoke sources, tariffs."""

from dataclasses import dataclass
from datetime import date

from app.services.store.checked_values import LONGEST_NAME, currency_code, day_valid_from, source_text
from app.services.store.entry_fields import choice, day, number, text

AEROSOLS = ("smoke", "dust", "pollen")
STANDINGS = ("", "read", "read second-hand", "from memory", "own bill")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRoom:
    """A room by its sides, by its volume, or by both where furniture takes up part of it."""

    name: str = text("Name of the room", form_name="room", needed=True, longest=LONGEST_NAME)
    length_m: float | None = number("Length", "m")
    width_m: float | None = number("Width", "m")
    height_m: float | None = number("Height", "m")
    room_volume_m3: float | None = number(
        "Volume",
        "m³",
        "Length × width × height where left empty. Give the smaller volume where furniture is built in.",
    )
    room_volume_uncertainty_m3: float | None = number(
        "Standard uncertainty of the volume",
        "m³",
        "Left empty: each side known to 1 cm, or 3 % where only the volume is given.",
        what="The uncertainty of the volume",
        zero=True,
    )
    furniture: str = text("Furniture", what="The note of furniture", lines=2)
    notes: str = text("Notes on the room", what="The notes", form_name="room_notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewLogger:
    """An instrument; response time and saturation as its maker states or a check found."""

    name: str = text("Name of the logger", form_name="logger", needed=True, longest=LONGEST_NAME)
    profile_id: int | None = None
    principle: str = text("How it measures", what="The principle", help="Such as: laser scattering, beta attenuation.")
    response_time_s: float | None = number(
        "Response time",
        "s",
        "Some sensors answer half a minute late; a switch-on read off the curve is late by that much.",
        zero=True,
    )
    saturation_level_ug_m3: float | None = number(
        "Saturates at", "µg/m³", "Readings at or above it are left out of the fit.", what="The saturation level"
    )
    calibration: str = text("Calibration", lines=2)
    notes: str = text("Notes on the logger", what="The notes", form_name="logger_notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSmokeSource:
    """What fills the room; the aerosol decides what a result may be compared with."""

    name: str = text("Name of the smoke source", form_name="smoke_source", needed=True, longest=LONGEST_NAME)
    aerosol: str = choice(
        "Kind of particle",
        AEROSOLS,
        default="smoke",
        what="The aerosol",
        help="A result is only compared with results and ratings of the same kind.",
    )
    notes: str = text("Notes on the source", what="The notes", form_name="smoke_source_notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewTariff:
    """Electricity price from a date on; `standing` is its verification status."""

    region: str = text("Region", words="country, state or supplier", needed=True, longest=LONGEST_NAME)
    price_per_kwh: float | None = number("Price of a kilowatt-hour", unit_from="currency", needed=True, zero=True)
    currency: str = text(
        "Currency", help="Three letters, such as USD.", words="three letters", needed=True, check=currency_code
    )
    valid_from: date | None = day("It holds from", "The tariff", needed=True, check=day_valid_from)
    source: str = text(
        "Where it was seen", default="", what="The tariff", form_name="tariff_source", evidence=True, check=source_text
    )
    standing: str = choice(
        "How the figure was come by",
        STANDINGS,
        default="",
        what="The standing of the tariff",
        choice_words={"": "not told"},
        words="read, read second-hand, from memory or own bill",
    )

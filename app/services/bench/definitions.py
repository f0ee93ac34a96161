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

    name: str = text("Room name", form_name="room", needed=True, longest=LONGEST_NAME)
    length_m: float | None = number("Length", "m")
    width_m: float | None = number("Width", "m")
    height_m: float | None = number("Height", "m")
    room_volume_m3: float | None = number(
        "Volume",
        "m³",
        "Leave empty to use length × width × height. Enter less if built-in furniture takes up space.",
    )
    room_volume_uncertainty_m3: float | None = number(
        "Standard uncertainty of the volume",
        "m³",
        "If empty, each side is taken as known to 1 cm, or a volume without sides to 3 %.",
        what="The uncertainty of the volume",
        zero=True,
    )
    furniture: str = text("Furniture", what="The furniture note", lines=2)
    notes: str = text("Room notes", what="The notes", form_name="room_notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewLogger:
    """An instrument; response time and saturation as its maker states or a check found."""

    name: str = text("Logger name", form_name="logger", needed=True, longest=LONGEST_NAME)
    profile_id: int | None = None
    principle: str = text(
        "Measuring principle", what="The principle", help="For example laser scattering, beta attenuation."
    )
    response_time_s: float | None = number(
        "Response time",
        "s",
        "Some sensors lag by half a minute; a switch-on detected from the curve is late by the same amount.",
        zero=True,
    )
    saturation_level_ug_m3: float | None = number(
        "Saturates at",
        "µg/m³",
        "Readings at or above this level are excluded from the fit.",
        what="The saturation level",
    )
    calibration: str = text("Calibration", lines=2)
    notes: str = text("Logger notes", what="The notes", form_name="logger_notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSmokeSource:
    """What fills the room; the aerosol decides what a result may be compared with."""

    name: str = text("Smoke source name", form_name="smoke_source", needed=True, longest=LONGEST_NAME)
    aerosol: str = choice(
        "Aerosol",
        AEROSOLS,
        default="smoke",
        what="The aerosol",
        help="Results are only compared with results and ratings for the same aerosol.",
    )
    notes: str = text("Source notes", what="The notes", form_name="smoke_source_notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewTariff:
    """Electricity price from a date on; `standing` is its verification status."""

    region: str = text("Region", words="country, state or supplier", needed=True, longest=LONGEST_NAME)
    price_per_kwh: float | None = number("Price per kilowatt-hour", unit_from="currency", needed=True, zero=True)
    currency: str = text(
        "Currency", help="Three letters, such as USD.", words="three letters", needed=True, check=currency_code
    )
    valid_from: date | None = day("Valid from", "The tariff", needed=True, check=day_valid_from)
    source: str = text(
        "Where seen", default="", what="The tariff", form_name="tariff_source", evidence=True, check=source_text
    )
    standing: str = choice(
        "Basis",
        STANDINGS,
        default="",
        what="The basis of the tariff",
        choice_words={"": "not specified"},
        words="read, read second-hand, from memory or own bill",
    )

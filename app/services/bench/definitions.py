"""What is entered of the bench: its choices, rooms, loggers, smoke sources, tariffs."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from app.compute.signal.logger_timing import STAMPS
from app.services.bench.branding import BUNDLED_FONTS, font_family, licence_name, line_colour, text_colour
from app.services.bench.time_zones import time_zone
from app.services.store.checked_values import (
    FARTHEST_M,
    LONGEST_NAME,
    NEAREST_M,
    currency_code,
    day_valid_from,
    source_text,
)
from app.services.store.clear_level import CLEAR_LEVEL_KINDS, CLEAR_LEVEL_WORDS
from app.services.store.entry_fields import choice, count, day, flag, number, text

SOUND_CORRECTION_RULES = ("ISO 3744", "ISO 3746", "ISO 1996-2")
MOST_DAYS = 36_500
AEROSOLS = ("smoke", "dust", "pollen")
TIME_STAMPS = ("", *STAMPS)
ROOM_CHANGES = ("furniture", "filter", "sealing", "ventilation", "season", "sensor", "other")
STANDINGS = ("", "read", "read second-hand", "from memory", "own bill")


def _last_reference_day(value: date | None, name: str, what: str) -> date | None:
    """It may lie in the future; empty for a number of runs."""
    return None if value is None else day_valid_from(value, name, what)


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


def _noted_by() -> Any:
    return text("Noted by", what="Who noted it", autocomplete="name", private=True, longest=LONGEST_NAME)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRoomChange:
    """Something that changed in a room; `new_limits` begins a reference period of its control charts."""

    changed_on: date | None = day("Changed on", "The change", needed=True)
    kind: str = choice("What changed", ROOM_CHANGES, what="The kind of change", form_name="change_kind")
    words: str = text(
        "Description", needed=True, lines=2, help="For example: sofa replaced by two chairs.", form_name="change_words"
    )
    new_limits: bool = flag(
        "Begin new limits on this day",
        help="The next runs become the reference. Earlier runs keep their own limits.",
    )
    reference_until: date | None = day(
        "Reference period ends",
        "The end of the reference period",
        help="Only with new limits. If empty, the first 16 runs are the reference.",
        check=_last_reference_day,
    )
    noted_by: str = _noted_by()


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCheckUnit:
    """Day from which a setting of a unit is the check unit of a room."""

    valid_from: date | None = day("Check unit from", "The check unit", needed=True)
    notes: str = text("Notes", lines=2)
    noted_by: str = _noted_by()


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
    averaging_s: float | None = number(
        "Each reading is the mean over",
        "s",
        "0 for momentary readings. With the place of the time stamp, unit on and time to clear are corrected for it.",
        what="The averaging time",
        zero=True,
    )
    time_stamp: str = choice(
        "The time stamp is at its",
        TIME_STAMPS,
        default="",
        what="The place of the time stamp",
        help="If not specified, times to clear include one interval of uncertainty.",
    )
    on_before_min: float | None = number(
        "Switched on before a log begins, at least",
        "min",
        "If not specified, the sensor may be warming up from the first reading on, which widens the interval of rates.",
        what="How long it is on before",
        zero=True,
    )
    check_interval_days: int | None = count(
        "Checked every",
        default=None,
        needed=False,
        unit="days",
        help="Trials recorded later than this after the last check of the logger carry a note.",
        what="The time between checks",
        most=MOST_DAYS,
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


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchChoices:
    """Choices made once for a bench, with those of a new one."""

    name: str = text("Name", initial="Bench", what="The name of the bench", needed=True, longest=LONGEST_NAME)
    timezone: str = text("Time zone", "Used for logs with local times.", initial="UTC", needed=True, check=time_zone)
    currency: str = text("Currency", "Three letters, such as USD.", initial="USD", needed=True, check=currency_code)
    clear_level_kind: str = choice(
        "Clear level",
        CLEAR_LEVEL_KINDS,
        initial="absolute",
        what="The clear level type",
        choice_words=CLEAR_LEVEL_WORDS,
    )
    clear_level_value: float = number(
        "Clear level value",
        "µg/m³ or fraction",
        "A fraction of the level at unit on is between 0 and 1, such as 0.05.",
        initial=10.0,
        what="The clear level",
        needed=True,
        zero=True,
    )
    standard_distance_m: float = number(
        "Standard distance for sound levels",
        "m",
        initial=1.0,
        what="The standard distance",
        needed=True,
        least=NEAREST_M,
        most=FARTHEST_M,
    )
    sound_correction_rule: str = choice(
        "Background correction", SOUND_CORRECTION_RULES, initial="ISO 3746", what="The rule for the background"
    )
    natural_decay_stale_after_days: int = count(
        "Maximum age of an empty-room run", default=None, unit="days", initial=180, most=MOST_DAYS
    )
    hours_per_day: float = number(
        "Use per day", "h", initial=24.0, what="The use per day", needed=True, zero=True, most=24.0
    )
    days_per_year: float = number(
        "Use per year", "days", initial=365.0, what="The use per year", needed=True, zero=True, most=366.0
    )
    tariff_id: int | None = None
    main_channel: str = text("Main channel", initial="pm2_5", needed=True, longest=50)
    publication: str = text(
        "Name on charts and tables",
        "Shown in the corner of every chart.",
        what="The name of the publication",
        longest=60,
    )
    publication_font: str = text(
        "Font",
        "One font family. With the suggested fonts, images are identical on every machine.",
        suggestions=BUNDLED_FONTS,
        check=font_family,
    )
    publication_ink: str = text(
        "Ink",
        "Text and reference colour, such as #1c1f26; leave empty for the default.",
        check=text_colour,
    )
    publication_accent: str = text(
        "Accent",
        "Replaces the first colour of curves and bars, such as #1d4b87.",
        check=line_colour,
    )
    licence: str = text(
        "Licence of the data",
        "An SPDX identifier such as CC-BY-4.0, or the address of a licence; leave empty to state none.",
        what="The licence",
        check=licence_name,
    )

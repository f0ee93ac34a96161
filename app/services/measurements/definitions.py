"""What is entered of a unit beside its trials: sound, power, ozone, ratings and claims."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from app.compute.clean_air.claim_quantities import QUANTITIES
from app.services.bench.definitions import AEROSOLS
from app.services.store.checked_values import FARTHEST_M, NEAREST_M
from app.services.store.entry_fields import choice, count, day, flag, number, text

RATE_UNITS = ("ft³/min", "m³/h", "L/s")
CLAIM_UNITS = tuple(sorted({symbol for each in QUANTITIES.values() for symbol in each.factors if symbol}))
BOUNDS = ("about", "at least", "at most")
ENVIRONMENTS = ("indoor", "free field")
INSTRUMENT_CLASSES = {"": "not specified", "1": "class 1", "2": "class 2"}
HIGHEST_DBA = 140.0
LOWEST_CALIBRATION_DB = 20.0


def _measured_by() -> Any:
    return text(
        "Measured by",
        what="Who measured",
        words="who measured it",
        evidence=True,
        autocomplete="name",
        private=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSoundMeasurement:
    """One reading of a running unit; background: the room with the unit off."""

    level_dba: float | None = number(
        "Level, unit on",
        "dB(A)",
        what="The sound level",
        form_name="sound_dba",
        column="sound_dba",
        needed=True,
        zero=True,
        most=HIGHEST_DBA,
    )
    background_dba: float | None = number(
        "Background level, unit off",
        "dB(A)",
        "Measured within the same minute. Without it, the level is only an upper bound.",
        what="The background level",
        zero=True,
        most=HIGHEST_DBA,
    )
    distance_m: float | None = number("Distance", "m", needed=True, least=NEAREST_M, most=FARTHEST_M)
    position: str = text("Position", default="front", help="For example front, 1.2 m above the floor.")
    environment: str = choice("Environment", ENVIRONMENTS, default="indoor", words="indoor or free field")
    instrument: str = text("Instrument")
    instrument_class: str = choice(
        "Instrument class", tuple(INSTRUMENT_CLASSES), default="", choice_words=INSTRUMENT_CLASSES
    )
    measured_on: date | None = day("Measured on", "The sound level", needed=True)
    measured_by: str = _measured_by()
    notes: str = text("Notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPowerMeasurement:
    """One reading; the uncertainty is the meter's standard uncertainty, or that of a whole log."""

    power_w: float | None = number("Meter reading", "W", what="The power", needed=True, zero=True)
    uncertainty_w: float | None = number(
        "Meter standard uncertainty",
        "W",
        default=0.0,
        what="The meter's uncertainty",
        form_name="power_uncertainty_w",
        needed=True,
        zero=True,
    )
    instrument: str = text("Meter")
    measured_on: date | None = day(
        "Measured on", "The power", help="For a meter reading; a log has its own date.", needed=True
    )
    measured_by: str = _measured_by()
    notes: str = text("Notes", lines=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOzoneTest:
    """With `below_detection` the value is the detection limit of the test."""

    ozone_ppb: float | None = number("Ozone", "ppb", needed=True, zero=True)
    below_detection: bool = flag("Below this detection limit")
    tested_on: date | None = day("Tested on", "The ozone test", form_name="ozone_tested_on", needed=True)
    method: str = text("Method", form_name="ozone_method")
    source: str = text(
        "Source",
        help="Who tested, or where the value was published.",
        form_name="ozone_source",
        words="where it was seen",
        evidence=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRating:
    """A rating as it was seen. `listed` False: looked for on that day and not found; then no value is needed."""

    aerosol: str = choice("Aerosol", AEROSOLS, what="The aerosol of the rating", words="smoke, dust or pollen")
    listed: bool = flag("Listed (no: searched for, not listed)", default=True)
    value: float | None = number("Rate as listed", what="The rating", unit_from="unit_symbol", form_name="rating_value")
    unit_symbol: str = text(
        "Unit of measure, such as ft³/min",
        default=RATE_UNITS[0],
        form_name="rating_unit",
        column="unit",
        suggestions=RATE_UNITS,
    )
    sister_model: str = text(
        "Certified for another model",
        what="The sister model",
        help="Name the certified sister model. Its rate is recorded but never used for this unit.",
    )
    test_standard: str = text("Test standard")
    edition: str = text("Edition of the standard", what="The edition")
    source: str = text(
        "Source",
        what="The source of the rating",
        form_name="rating_source",
        words="where it was seen",
        needed=True,
        evidence=True,
        longest=2000,
    )
    seen_on: date | None = day("Seen on", "The rating", form_name="rating_seen_on", needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewClaim:
    """A claim as it was seen. `setting_id` None: the setting is not named; `wording` is one line, as printed."""

    wording: str = text("Wording, exactly as printed", what="The wording of the claim", needed=True, longest=500)
    quantity: str = choice(
        "Quantity",
        tuple(QUANTITIES),
        what="The quantity of the claim",
        choice_words={name: quantity.words for name, quantity in QUANTITIES.items()},
        words="such as clean_air_delivery_rate, sound_level, room_area",
    )
    bound: str = choice(
        "Type of limit", BOUNDS, default="about", what="The bound of the claim", words=", ".join(BOUNDS)
    )
    value: float | None = number(
        "Number",
        help="Leave empty if the claim has none.",
        what="The claim",
        unit_from="unit_symbol",
        form_name="claim_value",
        zero=True,
    )
    unit_symbol: str = text("Unit of measure", form_name="claim_unit", column="unit", suggestions=CLAIM_UNITS)
    setting_id: int | None = None
    aerosol: str = choice(
        "Aerosol",
        ("", *AEROSOLS),
        default="",
        what="The aerosol of the claim",
        choice_words={"": "not specified"},
        words="smoke, dust or pollen, if named",
    )
    distance_m: float | None = number(
        "Distance, for a sound level", "m", what="The distance", least=NEAREST_M, most=FARTHEST_M
    )
    room_area_m2: float | None = number("Room area, for a room claim", "m²", what="The room area")
    where_seen: str = text("Where seen", what="Where seen", evidence=True)
    seen_on: date | None = day("Seen on", "The claim", form_name="claim_seen_on", needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewClip:
    """A recording and its calibration: by a recorded calibrator tone, by a level read beside the microphone, or (both
    None) none. The files come beside the form.
    """

    content: bytes
    file_name: str
    tone_content: bytes | None = None
    tone_file_name: str = ""
    distance_m: float | None = number(
        "Microphone distance", "m", what="The distance", needed=True, least=NEAREST_M, most=FARTHEST_M
    )
    channel: int = count("File channel", what="The channel", help="1 is the left channel.")
    recorded_on: date | None = day("Recorded on", "The clip", needed=True)
    recorded_by: str = text("Recorded by", what="Who recorded it", form_name="who", private=True)
    instrument: str = text("Recorder and microphone", what="The recorder")
    tone_level_db: float | None = number(
        "Calibrator level", "dB", what="The calibrator level", least=LOWEST_CALIBRATION_DB, most=HIGHEST_DBA, zero=True
    )
    known_level_dba: float | None = number(
        "Or the level measured beside the microphone",
        "dB(A)",
        "The equivalent level from a sound level meter during the recording. Without either, no level can be given.",
        what="The known level",
        least=LOWEST_CALIBRATION_DB,
        most=HIGHEST_DBA,
        zero=True,
    )
    notes: str = text("Notes", lines=2)

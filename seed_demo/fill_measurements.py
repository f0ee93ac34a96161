"""Sound, power, ozone, ratings and claims of the invented units, through the services of the forms."""

from datetime import date, timedelta
from math import log10

import numpy as np
from sqlalchemy.orm import Session

from app.services.measurements.claims import add_claim
from app.services.measurements.definitions import (
    NewClaim,
    NewClip,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.power_levels import add_power_measurement
from app.services.measurements.ratings import add_rating
from app.services.measurements.sound_clips import add_clip
from app.services.measurements.sound_levels import add_sound_measurement
from app.services.units.attachments.attach import Evidence
from seed_demo.fill_bench import BenchIds, noon
from seed_demo.photos import add_display
from seed_demo.scenario import EDITOR, REVIEWER, SECOND_REVIEWER, SEED, UNITS
from seed_demo.scenario_types import InventedUnit, Speed
from seed_demo.sound_of_units import FAN_SOUNDS, fan_sound

FAR_METRES = 2.0
MEASURED_FROM_AFAR = ("Harbour", "Barn", "Dusk Tower")  # units whose sound was measured at two metres
CFM_PER_M3_PER_H = 0.588577778691  # exact by definition of the foot
SOUND_INSTRUMENT, SOUND_CLASS = "hand-held sound level meter of the scenario", "2"
POWER_INSTRUMENT = "plug-in watt meter of the scenario"


def add_measurements(session: Session, unit: InventedUnit, ids: BenchIds) -> None:
    """All measurements of a unit besides clean air, and its ratings and claims."""
    rng = np.random.default_rng([SEED, 1000 + UNITS.index(unit)])
    unit_id = ids.units[unit.name]
    day = unit.prices[0][0] + timedelta(days=3)
    _add_power(session, unit_id, None, unit.standby_w, day, rng)
    for speed in unit.speeds:
        setting_id = ids.settings[unit.name, speed.name]
        _add_power(session, unit_id, setting_id, speed.power_w, day, rng)
        for repeat in range(2):
            sound_id, level_dba = _add_sound(
                session, unit, unit_id, setting_id, speed, day + timedelta(days=repeat), rng
            )
        if any(sound.model == unit.model and sound.speed == speed.name for sound in FAN_SOUNDS):
            belongs_to = Evidence(unit_id=unit_id, sound_measurement_id=sound_id)
            add_display(session, belongs_to, f"{level_dba:.1f} dB(A)", day + timedelta(days=1), REVIEWER)
    if unit.ozone:
        add_ozone_test(
            session,
            unit_id,
            NewOzoneTest(
                ozone_ppb=unit.ozone.ozone_ppb,
                tested_on=day + timedelta(days=30),
                below_detection=unit.ozone.below_detection,
                method="ultraviolet photometer 5 cm from the outlet, one hour, less the room (invented)",
                source="lent instrument of the scenario",
            ),
            who=REVIEWER,
        )
    _add_clips(session, unit, ids, day)
    _add_ratings(session, unit, unit_id)
    _add_claims(session, unit, unit_id, ids, day)


def _add_power(
    session: Session, unit_id: int, setting_id: int | None, power_w: float, day: date, rng: np.random.Generator
) -> None:
    # the meter displays tenths of a watt and has an uncertainty of 0.5 % plus a tenth
    shown = round(max(power_w * (1 + 0.003 * float(rng.standard_normal())), 0.0), 1)
    add_power_measurement(
        session,
        unit_id,
        setting_id,
        NewPowerMeasurement(
            power_w=shown,
            uncertainty_w=round(0.06 + 0.003 * shown, 3),
            instrument=POWER_INSTRUMENT,
            measured_on=day,
            measured_by=REVIEWER,
            notes="mean of ten minutes",
        ),
        who=REVIEWER,
    )


def _add_sound(
    session: Session,
    unit: InventedUnit,
    unit_id: int,
    setting_id: int,
    speed: Speed,
    day: date,
    rng: np.random.Generator,
) -> tuple[int, float]:
    """Id and level of the reading that was added."""
    distance_m = FAR_METRES if unit.model in MEASURED_FROM_AFAR else 1.0
    room_dba = 22.5 + 0.8 * float(rng.standard_normal())
    unit_dba = speed.sound_dba - 20 * log10(distance_m) + 0.3 * float(rng.standard_normal())
    level_dba = round(10 * log10(10 ** (unit_dba / 10) + 10 ** (room_dba / 10)), 1)
    sound_id = add_sound_measurement(
        session,
        unit_id,
        setting_id,
        NewSoundMeasurement(
            level_dba=level_dba,
            background_dba=round(room_dba, 1),
            distance_m=distance_m,
            position="front, at the height of its middle",
            environment="indoor",
            instrument=SOUND_INSTRUMENT,
            instrument_class=SOUND_CLASS,
            measured_on=day,
            measured_by=REVIEWER,
        ),
        who=REVIEWER,
    )
    return sound_id, level_dba


def _add_clips(session: Session, unit: InventedUnit, ids: BenchIds, day: date) -> None:
    for sound in FAN_SOUNDS:
        if sound.model != unit.model:
            continue
        add_clip(
            session,
            ids.units[unit.name],
            ids.settings[unit.name, sound.speed],
            NewClip(
                content=fan_sound(sound),
                file_name=f"{unit.model}_{sound.speed}.wav".replace(" ", "_").lower(),
                recorded_on=day,
                recorded_by=SECOND_REVIEWER,
                instrument="recorder of the scenario; the sound is computed, not recorded",
                distance_m=1.0,
                known_level_dba=unit.speed(sound.speed).sound_dba,
                notes=sound.notes,
            ),
            who=REVIEWER,
            now=noon(day),
        )


def _add_ratings(session: Session, unit: InventedUnit, unit_id: int) -> None:
    for rating in unit.ratings:
        rate = rating.rate_m3_per_h
        listed = rate is not None
        add_rating(
            session,
            unit_id,
            NewRating(
                aerosol=rating.aerosol,
                listed=listed,
                # a register lists whole numbers, some in cubic feet per minute
                value=None if rate is None else float(round(rate * CFM_PER_M3_PER_H)) if rating.stated_in_cfm else rate,
                unit_symbol="cfm" if rating.stated_in_cfm else "m³/h",
                sister_model=rating.sister_model,
                test_standard="ANSI/AHAM AC-1" if listed else "",
                edition="2020" if listed else "",
                source="invented register of certified rates",
                seen_on=rating.seen_on,
            ),
            who=EDITOR,
        )


def _add_claims(session: Session, unit: InventedUnit, unit_id: int, ids: BenchIds, day: date) -> None:
    for claim in unit.claims:
        add_claim(
            session,
            unit_id,
            NewClaim(
                quantity=claim.quantity,
                wording=claim.wording,
                value=claim.value,
                unit_symbol=claim.unit_symbol,
                bound=claim.bound,
                setting_id=ids.settings[unit.name, claim.speed] if claim.speed else None,
                aerosol=claim.aerosol,
                distance_m=claim.distance_m,
                room_area_m2=claim.room_area_m2,
                where_seen="front of the box (invented)",
                seen_on=day,
            ),
            who=EDITOR,
        )

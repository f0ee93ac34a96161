"""Sound, power, ozone, certified rates and makers' claims of the invented units."""

from datetime import date, timedelta
from math import log10

import numpy as np
from sqlalchemy.orm import Session

from app.services.audit import record_change
from app.services.units import SUBJECT
from app.storage.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.ratings_and_claims import Claim, Rating
from seed_demo.fill_bench import BenchIds
from seed_demo.scenario import EDITOR, REVIEWER, SEED, UNITS
from seed_demo.scenario_types import InventedUnit, Speed

FAR_METRES = 2.0
MEASURED_FROM_AFAR = ("Harbour", "Barn", "Dusk Tower")  # units whose sound was taken at two metres
CFM_PER_M3_PER_H = 0.588577778691  # exact by definition of the foot
SOUND_INSTRUMENT, SOUND_CLASS = "hand-held sound level meter of the scenario", "class 2"
POWER_INSTRUMENT = "plug-in watt meter of the scenario"


def add_measurements(session: Session, unit: InventedUnit, ids: BenchIds) -> None:
    """Everything that was measured of a unit besides its clean air, and what others say of it."""
    rng = np.random.default_rng([SEED, 1000 + UNITS.index(unit)])
    unit_id = ids.units[unit.name]
    day = unit.prices[0][0] + timedelta(days=3)
    _add_power(session, unit_id, None, unit.standby_w, day, rng)
    for speed in unit.speeds:
        setting_id = ids.settings[unit.name, speed.name]
        _add_power(session, unit_id, setting_id, speed.power_w, day, rng)
        for repeat in range(2):
            _add_sound(session, unit, unit_id, setting_id, speed, day + timedelta(days=repeat), rng)
    if unit.ozone:
        session.add(
            OzoneTest(
                unit_under_test_id=unit_id,
                ozone_ppb=unit.ozone.ozone_ppb,
                below_detection=unit.ozone.below_detection,
                method="ultraviolet photometer 5 cm from the outlet, one hour, less the room (invented)",
                tested_on=day + timedelta(days=30),
                source="lent instrument of the scenario",
            )
        )
        record_change(session, REVIEWER, "added", SUBJECT, unit_id, "ozone", None, f"{unit.ozone.ozone_ppb:g} ppb")
    _add_ratings(session, unit, unit_id)
    _add_claims(session, unit, unit_id, ids, day)
    session.flush()


def _add_power(
    session: Session, unit_id: int, setting_id: int | None, power_w: float, day: date, rng: np.random.Generator
) -> None:
    # the meter shows tenths of a watt and is good to half a percent and a tenth
    shown = round(max(power_w * (1 + 0.003 * float(rng.standard_normal())), 0.0), 1)
    session.add(
        PowerMeasurement(
            unit_under_test_id=unit_id,
            setting_id=setting_id,
            power_w=shown,
            uncertainty_w=round(0.06 + 0.003 * shown, 3),
            instrument=POWER_INSTRUMENT,
            measured_on=day,
            measured_by=REVIEWER,
            notes="mean of ten minutes" if setting_id else "standby, mean of ten minutes",
        )
    )
    record_change(session, REVIEWER, "added", SUBJECT, unit_id, "power", None, f"{shown:g} W")


def _add_sound(
    session: Session,
    unit: InventedUnit,
    unit_id: int,
    setting_id: int,
    speed: Speed,
    day: date,
    rng: np.random.Generator,
) -> None:
    distance_m = FAR_METRES if unit.model in MEASURED_FROM_AFAR else 1.0
    room_dba = 22.5 + 0.8 * float(rng.standard_normal())
    unit_dba = speed.sound_dba - 20 * log10(distance_m) + 0.3 * float(rng.standard_normal())
    level = round(10 * log10(10 ** (unit_dba / 10) + 10 ** (room_dba / 10)), 1)
    session.add(
        SoundMeasurement(
            unit_under_test_id=unit_id,
            setting_id=setting_id,
            level_dba=level,
            background_dba=round(room_dba, 1),
            distance_m=distance_m,
            position="front, at the height of its middle",
            environment="indoor",
            instrument=SOUND_INSTRUMENT,
            instrument_class=SOUND_CLASS,
            measured_on=day,
            measured_by=REVIEWER,
        )
    )
    record_change(
        session,
        REVIEWER,
        "added",
        SUBJECT,
        unit_id,
        "sound",
        None,
        f"{level:g} dB(A) at {distance_m:g} m, {speed.name}",
    )


def _add_ratings(session: Session, unit: InventedUnit, unit_id: int) -> None:
    for rating in unit.ratings:
        rate = rating.rate_m3_per_h
        stated = None if rate is None else round(rate * CFM_PER_M3_PER_H) if rating.stated_in_cfm else rate
        unit_symbol = "cfm" if rating.stated_in_cfm else "m³/h"
        session.add(
            Rating(
                unit_under_test_id=unit_id,
                aerosol=rating.aerosol,
                listed=rate is not None,
                # what was printed is what counts: whole cfm, turned back
                clean_air_delivery_rate_m3_per_h=None
                if stated is None
                else stated / CFM_PER_M3_PER_H
                if rating.stated_in_cfm
                else stated,
                stated_value=stated,
                stated_unit=unit_symbol,
                sister_model=rating.sister_model,
                test_standard="ANSI/AHAM AC-1" if rate is not None else "",
                edition="2020" if rate is not None else "",
                source="invented register of certified rates",
                seen_on=rating.seen_on,
            )
        )
        after = f"{rating.aerosol}: looked for and not listed" if stated is None else f"{stated:g} {unit_symbol}"
        record_change(session, EDITOR, "added", SUBJECT, unit_id, "rating", None, after)


def _add_claims(session: Session, unit: InventedUnit, unit_id: int, ids: BenchIds, day: date) -> None:
    for claim in unit.claims:
        session.add(
            Claim(
                unit_under_test_id=unit_id,
                quantity=claim.quantity,
                value=claim.value,
                unit_symbol=claim.unit_symbol,
                bound=claim.bound,
                setting_id=ids.settings[unit.name, claim.speed] if claim.speed else None,
                aerosol=claim.aerosol,
                distance_m=claim.distance_m,
                room_area_m2=claim.room_area_m2,
                wording=claim.wording,
                where_seen="front of the box (invented)",
                seen_on=day,
            )
        )
        record_change(session, EDITOR, "added", SUBJECT, unit_id, "claim", None, claim.wording)

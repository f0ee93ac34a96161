"""Models of a unit's data besides trials: sound, power, ozone, ratings and claims.

Each value has its date and source, and the results. The types of the services are not imported here, because a page of
trials does not need them.
"""

from typing import Any, Literal

from pydantic import BaseModel
from sqlalchemy.orm import Session

from app.services.measurements.definitions import (
    NewClaim,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.web.api.derived import answer
from app.web.api.shapes import FromStore, MeasuredShape
from app.web.api.trials.shapes import measured_shape


@answer(NewSoundMeasurement)
class SoundReadingShape(FromStore):
    """One reading as measured, without correction or conversion."""

    id: int


class SettingSoundShape(BaseModel):
    """Level of a setting at the bench's distance, energy mean of its readings, background-corrected by `rule`.

    `level_dba` is null without a measurement, and if the background was too high: then `at_most_dba`.
    """

    setting_id: int
    setting: str
    level_dba: MeasuredShape | None
    at_most_dba: float | None
    estimate: bool
    distance_m: float
    rule: str
    notes: list[str]
    readings: list[SoundReadingShape]


@answer(NewPowerMeasurement)
class PowerReadingShape(FromStore):
    """One reading; `log_id` if it is the mean of a power log."""

    id: int
    log_id: int | None


class SettingPowerShape(BaseModel):
    """Power of a setting, or on standby if `setting_id` is null."""

    setting_id: int | None
    setting: str
    power_w: MeasuredShape | None
    readings: list[PowerReadingShape]


@answer(NewOzoneTest)
class OzoneTestShape(FromStore):
    """With `below_detection` the value is the detection limit of the test."""


class OzoneLimitShape(FromStore):
    """A public limit; `standing` is its verification status. `exceeded` is null if no test decides it."""

    name: str
    limit_ppb: float
    body: str
    document: str
    standing: str
    exceeded: bool | None


class OzoneShape(BaseModel):
    """No test is "not measured", never zero."""

    finding: str
    caution: str
    limits: list[OzoneLimitShape]
    tests: list[OzoneTestShape]


@answer(NewRating, without=("value", "unit_symbol"))
class RatingShape(FromStore):
    """A third party's rate, in m³/h and as it was stated. `listed` false: not listed on that day.

    `measured_over_certified` is null if the two cannot be compared or nothing was measured; `finding` says why.
    """

    id: int
    clean_air_delivery_rate_m3_per_h: float | None
    stated_value: float | None
    stated_unit: str
    measured_over_certified: MeasuredShape | None
    at_most_over_certified: float | None
    finding: str
    reasons_to_differ: list[str]


@answer(NewClaim, without=("value", "unit_symbol", "setting_id"))
class ClaimShape(FromStore):
    """A maker's claim with its verdict; claimed, measured, interval and margin are in `unit`."""

    id: int
    stated_value: float | None
    stated_unit: str
    verdict: Literal["supported", "not supported", "cannot be tested here"]
    unit: str
    claimed: float | None
    measured: float | None
    measured_low_95: float | None
    measured_high_95: float | None
    margin: float | None
    physically_impossible: bool
    setting: str
    finding: str
    cautions: list[str]


class UnitFactsShape(BaseModel):
    """Sound, power, ozone, ratings and claims of one unit."""

    sound: list[SettingSoundShape]
    power: list[SettingPowerShape]
    ozone: OzoneShape
    ratings: list[RatingShape]
    claims: list[ClaimShape]


def unit_facts(session: Session, unit_id: int) -> UnitFactsShape:
    """All data of a unit besides its trials. Raises NotFound."""
    # loaded when used: the list of units does not need them
    from app.compute.clean_air.ozone import LIMITS
    from app.services.bench.choices import bench_choices
    from app.services.measurements.claims import claims_of_unit
    from app.services.measurements.ozone_tests import ozone_of_unit
    from app.services.measurements.power_levels import power_levels_of_unit
    from app.services.measurements.ratings import ratings_of_unit
    from app.services.measurements.sound_levels import sound_levels_of_unit

    bench = bench_choices(session)
    return UnitFactsShape(
        sound=[_sound(found, bench) for found in sound_levels_of_unit(session, unit_id)],
        power=[_power(found) for found in power_levels_of_unit(session, unit_id)],
        ozone=_ozone(ozone_of_unit(session, unit_id), LIMITS),
        ratings=[_rating(found) for found in ratings_of_unit(session, unit_id)],
        claims=[_claim(found) for found in claims_of_unit(session, unit_id)],
    )


def _sound(found: Any, bench: Any) -> SettingSoundShape:
    level = found.level
    bounded = level is not None and level.upper_bound
    return SettingSoundShape(
        setting_id=found.setting.id,
        setting=found.setting.name,
        level_dba=None if level is None or bounded else measured_shape(level.level_dba),
        at_most_dba=level.level_dba.value if bounded else None,
        estimate=level is not None and level.estimate,
        distance_m=bench.standard_distance_m,
        rule=bench.sound_correction_rule,
        notes=["The sound of this setting was not measured."] if level is None else list(level.sentences),
        readings=[SoundReadingShape.model_validate(row) for row in found.measurements],
    )


def _power(found: Any) -> SettingPowerShape:
    return SettingPowerShape(
        setting_id=None if found.setting is None else found.setting.id,
        setting=found.name,
        power_w=measured_shape(found.power),
        readings=[PowerReadingShape.model_validate(row) for row in found.measurements],
    )


def _ozone(found: Any, limits: Any) -> OzoneShape:
    finding = found.finding
    exceeded = dict.fromkeys(finding.above_limits, True) | dict.fromkeys(finding.below_limits, False)
    return OzoneShape(
        finding=finding.sentence,
        caution=finding.caution,
        limits=[OzoneLimitShape.of(limit, limit_ppb=limit.value, exceeded=exceeded.get(limit)) for limit in limits],
        tests=[OzoneTestShape.model_validate(test) for test in found.tests],
    )


def _rating(found: Any) -> RatingShape:
    row, comparison = found.rating, found.comparison
    return RatingShape.of(
        row,
        measured_over_certified=measured_shape(comparison.ratio),
        at_most_over_certified=comparison.at_most_ratio,
        finding=comparison.sentence,
        reasons_to_differ=list(comparison.reasons_to_differ),
    )


def _claim(found: Any) -> ClaimShape:
    row, check = found.claim, found.check
    return ClaimShape.of(
        row,
        **{
            "stated_value": row.value,
            "stated_unit": row.unit_symbol,
            "verdict": check.verdict,
            "unit": check.unit_symbol,
            "claimed": check.claimed,
            "measured": check.measured,
            "measured_low_95": check.low_95,
            "measured_high_95": check.high_95,
            "margin": check.margin,
            "physically_impossible": check.physically_impossible,
            "setting": found.setting,
            "finding": check.sentence,
            "cautions": list(check.cautions),
        },
    )

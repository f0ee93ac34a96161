"""Optional quantities of a ranking line as JSON; a missing one is null, with a sentence why."""

from datetime import date

from pydantic import BaseModel

from app.compute.clean_air.conversions import CUBIC_FEET_PER_MINUTE_PER_M3_PER_H
from app.services.ranking.extra_columns import ExtraFacts
from app.services.snapshot.room_shifts import RoomShift
from app.web.api.shapes import MeasuredShape


class CertifiedShape(BaseModel):
    """The newest certified smoke rate of the unit itself, as listed; a rating has no stated uncertainty."""

    rate_m3_per_h: float | None
    rate_cfm: float | None
    why_not: str
    seen_on: str


class FederalShape(BaseModel):
    """US federal figure of the unit at its highest setting; `unverified` lists the constants that were not read."""

    integrated_energy_factor_cfm_per_w: float | None
    why_not: str
    unverified: list[str]


class LineOzoneShape(BaseModel):
    """Highest recorded value. Null: not measured, or `less_than_ppb` below the detection limit."""

    ozone_ppb: float | None
    less_than_ppb: float | None
    words: str


class ExtraShape(BaseModel):
    """The optional columns of the ranking page for one line."""

    clean_air_per_watt_m3_per_h_per_w: MeasuredShape | None
    why_no_clean_air_per_watt: str
    cost_of_1000_m3_of_clean_air: MeasuredShape | None
    why_no_cost_of_clean_air: str
    certified_smoke: CertifiedShape
    federal: FederalShape
    ozone: LineOzoneShape


def extra_shape(facts: ExtraFacts) -> ExtraShape:
    rate, federal = facts.certified_smoke.rate_m3_per_h, facts.federal
    return ExtraShape(
        clean_air_per_watt_m3_per_h_per_w=None if facts.per_watt is None else MeasuredShape.of(facts.per_watt),
        why_no_clean_air_per_watt=facts.why_no_per_watt,
        cost_of_1000_m3_of_clean_air=None if facts.clean_air_cost is None else MeasuredShape.of(facts.clean_air_cost),
        why_no_cost_of_clean_air=facts.why_no_clean_air_cost,
        certified_smoke=CertifiedShape(
            rate_m3_per_h=rate,
            rate_cfm=None if rate is None else rate * CUBIC_FEET_PER_MINUTE_PER_M3_PER_H,
            why_not=facts.certified_smoke.why_not,
            seen_on=facts.certified_smoke.seen_on,
        ),
        federal=FederalShape(
            integrated_energy_factor_cfm_per_w=None if federal is None else federal.integrated_energy_factor_cfm_per_w,
            why_not=facts.why_no_federal,
            unverified=[] if federal is None else list(federal.unverified),
        ),
        ozone=LineOzoneShape(
            ozone_ppb=facts.ozone_ppb, less_than_ppb=facts.ozone_less_than_ppb, words=facts.ozone_text
        ),
    )


class RoomShiftShape(BaseModel):
    """A shift of the natural decay of the room between the trials; see the control chart of the room."""

    first_on: date
    ended_on: date | None
    natural_decay_change_per_h: MeasuredShape
    words: str
    chart: str


def room_shift_shape(shift: RoomShift | None) -> RoomShiftShape | None:
    if shift is None:
        return None
    return RoomShiftShape(
        first_on=date.fromisoformat(shift.first_on),
        ended_on=None if shift.ended_on is None else date.fromisoformat(shift.ended_on),
        natural_decay_change_per_h=MeasuredShape.of(shift.change_per_h),
        words=shift.words,
        chart=f"/rooms/{shift.room_id}/control?channel={shift.channel}&aerosol={shift.aerosol}",
    )

"""Compares a maker's claim with the measurement: supported, not supported, or not testable here."""

import math
from dataclasses import dataclass
from typing import Literal

from app.compute.clean_air.claim_quantities import QUANTITIES, ClaimQuantity
from app.compute.clean_air.conversions import M2_PER_SQUARE_FOOT, from_cubic_feet_per_minute
from app.compute.clean_air.room_need import FLOOR_PER_RATE, RULE_CEILING_M
from app.compute.sound.levels import level_at_distance
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import measured_text
from app.compute.wording.rounding import decimals_for, decimals_from_size, rounded_text, stated_text, three_digits

Verdict = Literal["supported", "not supported", "cannot be tested here"]
Bound = Literal["about", "at least", "at most"]

# Widest interval that still decides: half its width as a share of the claim, or in dB. Our choice.
WIDEST_HALF_INTERVAL_SHARE = 0.5
WIDEST_HALF_INTERVAL_DB = 6.0
# A quiet bedroom at night has about 25 to 30 dB(A), and few meters read below 20. Common practice, no source.
LOWEST_POSSIBLE_DBA_AT_1_M = 20.0


@dataclass(frozen=True, slots=True)
class StatedClaim:
    """A claim as stated. `distance_m` [m] applies to a sound level, `room_area_m2` [m²] to air changes."""

    quantity: str
    value: float | None
    unit_symbol: str
    bound: Bound = "about"
    aerosol: str = ""
    distance_m: float | None = None
    room_area_m2: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """The measurement that a claim is compared with.

    value : in the unit of the quantity; for room sizes and air changes the clean air delivery rate [m³/h]
    at_most : where the value cannot be distinguished from zero or from the room: the true value is at most this
    distance_m : of a sound level
    aerosol : of a clean air rate
    estimate : converted from another distance
    """

    value: Measured | None
    at_most: float | None = None
    distance_m: float | None = None
    aerosol: str = ""
    estimate: bool = False


@dataclass(frozen=True, slots=True)
class ClaimCheck:
    """The verdict, and the numbers behind it.

    claimed, measured, margin : in `unit_symbol`; the margin is measured minus claimed
    low_95, high_95 : the interval of the measurement that decides
    physically_impossible : the claim cannot be true
    sentence : the verdict in words; cautions : notes to show beside it
    """

    verdict: Verdict
    unit_symbol: str
    claimed: float | None
    measured: float | None
    low_95: float | None
    high_95: float | None
    margin: float | None
    physically_impossible: bool
    sentence: str
    cautions: tuple[str, ...]


def check_claim(claim: StatedClaim, evidence: Evidence | None) -> ClaimCheck:
    """Compare a claim with the measurement that belongs to it.

    Parameters
        claim : as stated; its unit is converted, its distance and room are taken into account
        evidence : None where the bench has not measured it
    Returns  verdict, margin and deciding interval. "At most" is not supported where the whole interval is above the
        claim, "at least" where it is below, "about" where it misses the claim by more than the tolerance of the
        quantity; otherwise it is supported. An interval too wide to decide, or a bound on the wrong side, makes the
        claim untestable here.
    Raises   ValueError for a quantity or a unit that is not known

    >>> claim = StatedClaim("clean_air_delivery_rate", 200.0, "cfm", "at least", "smoke")
    >>> check_claim(claim, Evidence(Measured(280.0, 8.0), aerosol="smoke")).sentence
    'Not supported: measured 280 m³/h (264 to 296) against at least 340 m³/h claimed, 60 less.'
    """
    if claim.quantity not in QUANTITIES:
        raise ValueError(f"The quantity {claim.quantity!r} is not known; choose one of: {', '.join(QUANTITIES)}.")
    quantity = QUANTITIES[claim.quantity]
    if quantity.cannot_test:
        return _untested(quantity, None, quantity.cannot_test)
    if claim.value is None:
        return _untested(quantity, None, "The claim states no number.")
    claimed = quantity.in_own_unit(claim.value, claim.unit_symbol)
    impossible = _impossible(claim, claimed)
    if impossible:
        return ClaimCheck("not supported", quantity.unit_symbol, claimed, None, None, None, None, True, impossible, ())
    why_not = _why_no_comparison(claim, evidence)
    if evidence is None or why_not:
        return _untested(quantity, claimed, why_not)
    own, cautions = _in_the_claims_terms(claim, evidence)
    return _decided(quantity, claim.bound, claimed, own, cautions)


def _decided(
    quantity: ClaimQuantity, bound: Bound, claimed: float, own: Evidence, cautions: tuple[str, ...]
) -> ClaimCheck:
    unit = quantity.unit_symbol
    if own.value is None:
        return _from_bound(quantity, bound, claimed, own.at_most, cautions)
    low, high = own.value.interval_95
    tolerance = max(quantity.tolerance, quantity.tolerance_share * abs(claimed)) if bound == "about" else 0.0
    too_high = bound != "at least" and low > claimed + tolerance
    too_low = bound != "at most" and high < claimed - tolerance
    half = (high - low) / 2
    widest = WIDEST_HALF_INTERVAL_DB if unit == "dB(A)" else WIDEST_HALF_INTERVAL_SHARE * abs(claimed)
    if not (too_high or too_low) and half > widest:
        ends = f"{three_digits(low)} to {three_digits(high)} {unit}"
        why = f"The interval of the measurement, {ends}, is too wide to decide."
        return _untested(quantity, claimed, why, own.value, cautions)
    verdict: Verdict = "not supported" if too_high or too_low else "supported"
    margin = own.value.value - claimed
    words = measured_text(own.value.value, own.value.uncertainty, low, high)
    sentence = (
        f"{verdict.capitalize()}: measured {words.value} {unit} ({words.interval}) against {bound} "
        f"{stated_text(claimed)} {unit} claimed, {_margin(margin, own.value.uncertainty)}."
    )
    sentence += _allowed(bound, tolerance, unit)
    return ClaimCheck(verdict, unit, claimed, own.value.value, low, high, margin, False, sentence, cautions)


def _allowed(bound: Bound, tolerance: float, unit: str) -> str:
    """The tolerance, as a sentence, where the claim has one."""
    return f" “About” allows a difference of {stated_text(tolerance)} {unit}." if bound == "about" else ""


def _from_bound(
    quantity: ClaimQuantity, bound: Bound, claimed: float, at_most: float | None, cautions: tuple[str, ...]
) -> ClaimCheck:
    """Decides with an upper bound only: it can support "at most" and contradict "at least" or "about"."""
    unit = quantity.unit_symbol
    if at_most is None:
        return _untested(quantity, claimed, "The measurement gives neither a value nor a bound.", None, cautions)
    margin = at_most - claimed
    below = f", {three_digits(-margin)} or more below it" if margin < 0 else ""
    words = (
        f"measured at most {three_digits(at_most)} {unit} against {bound} {stated_text(claimed)} {unit} claimed{below}."
    )
    if bound == "at most" and at_most <= claimed:
        return ClaimCheck(
            "supported", unit, claimed, None, None, at_most, margin, False, f"Supported: {words}", cautions
        )
    tolerance = max(quantity.tolerance, quantity.tolerance_share * abs(claimed)) if bound == "about" else 0.0
    if bound != "at most" and at_most < claimed - tolerance:
        sentence = f"Not supported: {words}{_allowed(bound, tolerance, unit)}"
        return ClaimCheck("not supported", unit, claimed, None, None, at_most, margin, False, sentence, cautions)
    why = f"The measurement only shows that it is at most {three_digits(at_most)} {unit}."
    return _untested(quantity, claimed, why, None, cautions)


def _why_no_comparison(claim: StatedClaim, evidence: Evidence | None) -> str:
    if evidence is None:
        return "The bench has not measured this yet."
    if claim.quantity in ("air_change_time", "air_changes") and claim.room_area_m2 is None:
        return "The claim names no room size, and air changes are undefined without one."
    if claim.aerosol and evidence.aerosol and claim.aerosol != evidence.aerosol:
        return f"The claim is for {claim.aerosol}, the measurement for {evidence.aerosol}; these are different tests."
    return ""


def _in_the_claims_terms(claim: StatedClaim, evidence: Evidence) -> tuple[Evidence, tuple[str, ...]]:
    """The evidence converted to the quantity of the claim, with the assumptions made."""
    if claim.quantity == "sound_level":
        return _at_claimed_distance(claim, evidence)
    if claim.quantity == "ozone" and evidence.value is not None:
        caution = (
            "The recorded ozone value has no uncertainty; a tenth of it, at least 0.5 ppb, is assumed as the "
            "standard uncertainty (common practice, no source)."
        )
        return evidence, (caution,)
    if claim.quantity == "room_area":
        per_m2 = M2_PER_SQUARE_FOOT / from_cubic_feet_per_minute(1.0) * FLOOR_PER_RATE.value
        caution = (
            "The claim names no air changes; the measured rate is converted to a floor area by the 1.55 rule, which "
            "assumes a ceiling of 8 ft (2.4 m) and 4.84 air changes per hour."
        )
        return _scaled(evidence, per_m2), (caution,)
    if claim.quantity in ("air_changes", "air_change_time"):
        volume = (claim.room_area_m2 or 0.0) * RULE_CEILING_M
        caution = f"The claim names only a floor area; a ceiling of {RULE_CEILING_M:.2f} m (8 ft) is assumed."
        if claim.quantity == "air_changes":
            return _scaled(evidence, 1 / volume), (caution,)
        return _time_for_one_change(evidence, volume), (caution,)
    return evidence, ()


def _at_claimed_distance(claim: StatedClaim, evidence: Evidence) -> tuple[Evidence, tuple[str, ...]]:
    cautions = []
    if claim.unit_symbol.strip().casefold() == "db":
        cautions.append("The claim says dB without a weighting; dB(A) is assumed.")
    if evidence.estimate:
        cautions.append("The measured level was converted from another distance, so it is an estimate.")
    if claim.distance_m is None or evidence.distance_m is None:
        known = f"{evidence.distance_m:g} m" if evidence.distance_m else "the bench's distance"
        cautions.append(f"The claim names no distance; it is compared with the level at {known}.")
        return evidence, tuple(cautions)
    if claim.distance_m == evidence.distance_m:
        return evidence, tuple(cautions)
    change = level_at_distance(0.0, evidence.distance_m, claim.distance_m).level_db
    cautions.append(
        f"Converted from {evidence.distance_m:g} m to the claimed {claim.distance_m:g} m by 20 lg of the distances "
        f"({change:+.1f} dB): an estimate; in a room the true change is smaller."
    )
    # half of the change as a rectangle, as for measurements in a room
    spread = abs(change) / 2 / math.sqrt(3)
    value = evidence.value
    moved = None if value is None else _moved(value, change, spread)
    at_most = None if evidence.at_most is None else evidence.at_most + change
    return Evidence(moved, at_most, claim.distance_m, evidence.aerosol, True), tuple(cautions)


def _moved(value: Measured, change_db: float, spread_db: float) -> Measured:
    """The level converted to another distance. Welch and Satterthwaite; the distance part has infinite degrees of
    freedom.
    """
    both = math.hypot(value.uncertainty, spread_db)
    ratio = both / value.uncertainty if value.uncertainty > 0 else math.inf
    return Measured(value.value + change_db, both, value.degrees_of_freedom * ratio**4)


def _scaled(evidence: Evidence, factor: float) -> Evidence:
    return Evidence(
        None if evidence.value is None else evidence.value.times(factor),
        None if evidence.at_most is None else evidence.at_most * factor,
        evidence.distance_m,
        evidence.aerosol,
    )


def _time_for_one_change(evidence: Evidence, volume_m3: float) -> Evidence:
    """60 V / Q. An upper bound of the rate gives a lower bound of the time."""
    if evidence.value is None or not evidence.value.low_95 > 0:
        return Evidence(None, None, None, evidence.aerosol)
    minutes = 60 * volume_m3 / evidence.value.value
    relative = evidence.value.uncertainty / evidence.value.value
    return Evidence(
        Measured(minutes, minutes * relative, evidence.value.degrees_of_freedom), None, None, evidence.aerosol
    )


def _impossible(claim: StatedClaim, claimed: float) -> str:
    if claim.quantity != "sound_level":
        return ""
    at_1_m = level_at_distance(claimed, claim.distance_m, 1.0).level_db if claim.distance_m else claimed
    if at_1_m >= LOWEST_POSSIBLE_DBA_AT_1_M:
        return ""
    where = f" at 1 m (from {claimed:g} dB(A) at {claim.distance_m:g} m)" if claim.distance_m not in (None, 1.0) else ""
    return (
        f"Not supported: {at_1_m:.0f} dB(A){where} is far below the level of a quiet room at night, about 25 to 30 "
        "dB(A). A running fan cannot be distinguished from silence there, and hardly any meter reads that low."
    )


def _untested(
    quantity: ClaimQuantity,
    claimed: float | None,
    why: str,
    value: Measured | None = None,
    cautions: tuple[str, ...] = (),
) -> ClaimCheck:
    low, high = value.interval_95 if value else (None, None)
    measured = value.value if value else None
    margin = measured - claimed if measured is not None and claimed is not None else None
    words, unit = f"Cannot be tested here: {why}", quantity.unit_symbol
    return ClaimCheck("cannot be tested here", unit, claimed, measured, low, high, margin, False, words, cautions)


def _margin(margin: float, uncertainty: float) -> str:
    """The difference from the claim, rounded like the measured value; "no difference" where it rounds to zero."""
    decimals = decimals_for(uncertainty)
    text = rounded_text(abs(margin), decimals_from_size(margin) if decimals is None else decimals)
    if not text.strip("0.,"):
        return "no difference"
    return f"{text} {'more' if margin > 0 else 'less'}"

"""Compares a measured clean air rate with a certified one of the same aerosol."""

import math
from dataclasses import dataclass

from app.compute.statistics.measured import Measured

# Ratings are whole cubic feet per minute (10 CFR 429.68, read): a rectangular distribution one unit wide, as a standard
# uncertainty.
_ROUNDING_M3_PER_H = 1.69901079552 / math.sqrt(12)

MASS_CHANNELS = ("pm1", "pm2_5", "pm10", "pm1_b", "pm2_5_b", "pm10_b")


@dataclass(frozen=True, slots=True)
class CertifiedRate:
    """A certified rate listed by a third party.

    aerosol : smoke, dust or pollen
    rate_m3_per_h : None where the unit is not listed
    sister_model : the model that was certified, where it is another one
    looked_on : day of the look-up (ISO 8601)
    """

    aerosol: str
    rate_m3_per_h: float | None
    listed: bool
    sister_model: str
    test_standard: str
    source: str
    looked_on: str


@dataclass(frozen=True, slots=True)
class MeasuredRate:
    """A rate measured on this bench: aerosol, channel, and whether it was at the highest setting.

    rate : [m³/h]; measurable False: not distinguishable from zero; then at most `at_most_m3_per_h`
    """

    aerosol: str
    channel: str
    at_highest_setting: bool
    rate: Measured
    measurable: bool = True
    at_most_m3_per_h: float | None = None


@dataclass(frozen=True, slots=True)
class RatingComparison:
    """The two rates compared, or the reason why they are not.

    refused : why they are not compared; empty where they are
    ratio : measured over certified, None where refused or where the measured rate is only bounded
    at_most_ratio : upper bound of the ratio where no cleaning was measurable
    sentence : the finding in words
    reasons_to_differ : known causes, shown with every comparison
    """

    refused: str
    ratio: Measured | None
    at_most_ratio: float | None
    sentence: str
    reasons_to_differ: tuple[str, ...]


REASONS_TO_DIFFER = (
    "The room: a certified test uses a small sealed chamber; a real room is larger, leaks, and has furniture.",
    "Mixing: a chamber has a fan that stirs the air; in a room, air near the unit is cleaned more than once.",
    "Size range: the certified rate counts a range of particle sizes, a logger on the bench one size or a mass.",
    "Rating rules round down: the listed rate is the lower of the mean of the tested units and their 95 % limit "
    "divided by 0.90, in whole ft³/min.",
    "The unit itself: one purchased unit, with its own filter age, represents all units made.",
)


def compare_with_rating(measured: MeasuredRate, certified: CertifiedRate) -> RatingComparison:
    """Ratio of a measured rate to a certified one, for the same aerosol at the highest setting.

    .. math:: r = Q_m / Q_c

    Parameters
        measured, certified : the two rates
    Returns  the ratio with its interval, or the reason for refusing. Refused are: another aerosol (smoke is never
    compared with dust), a rating of a sister model, a unit that is not listed, a setting below the
        highest, a channel that is no particle mass or count
    Notes    Certified rates carry the uncertainty of their rounding only; their measurement uncertainty is not
    published.
    Source   rating rule and rounding: 10 CFR 429.68, read; chamber and stirring fan: common knowledge of the method,
        the standard itself was not opened

    >>> smoke = CertifiedRate("smoke", 300.0, True, "", "", "", "2026-01-05")
    >>> compare_with_rating(MeasuredRate("smoke", "pm2_5", True, Measured(270.0, 9.0)), smoke).sentence
    'Measured 0.90 of the certified smoke rate (0.84 to 0.96): below it.'
    >>> compare_with_rating(MeasuredRate("dust", "pm2_5", True, Measured(270.0, 9.0)), smoke).refused
    'A dust rate was measured and a smoke rate is certified. These are different tests, so they are not compared.'
    """
    refused = _why_refused(measured, certified)
    if refused or not certified.rate_m3_per_h:
        return RatingComparison(refused, None, None, refused, ())
    certified_rate = certified.rate_m3_per_h
    if not measured.measurable:
        return _only_bounded(measured, certified_rate, certified.aerosol)
    value = measured.rate.value / certified_rate
    uncertainty = math.hypot(measured.rate.uncertainty, value * _ROUNDING_M3_PER_H) / certified_rate
    ratio = Measured(value, uncertainty, measured.rate.degrees_of_freedom)
    low, high = ratio.interval_95
    place = "below it" if high < 1 else "above it" if low > 1 else "it cannot be told apart from the certified rate"
    sentence = f"Measured {value:.2f} of the certified {certified.aerosol} rate ({low:.2f} to {high:.2f}): {place}."
    return RatingComparison("", ratio, None, sentence, REASONS_TO_DIFFER)


def _only_bounded(measured: MeasuredRate, certified_rate: float, aerosol: str) -> RatingComparison:
    if measured.at_most_m3_per_h is None:
        why = "The measured rate cannot be distinguished from zero and has no upper limit, so no ratio can be given."
        return RatingComparison(why, None, None, why, ())
    at_most = measured.at_most_m3_per_h / certified_rate
    sentence = f"No measurable cleaning; at most {at_most:.2f} of the certified {aerosol} rate."
    return RatingComparison("", None, at_most, sentence, REASONS_TO_DIFFER)


def _why_refused(measured: MeasuredRate, certified: CertifiedRate) -> str:
    if not certified.listed or certified.rate_m3_per_h is None:
        return f"Searched for on {certified.looked_on}; not listed, so there is nothing to compare with."
    if certified.sister_model:
        return (
            f"The rating is for {certified.sister_model}, a sister model; it is recorded but not compared with this "
            "unit."
        )
    if not certified.rate_m3_per_h > 0:
        return f"The certified rate is {certified.rate_m3_per_h:g} m³/h; a ratio needs one above zero."
    if measured.aerosol != certified.aerosol:
        return (
            f"A {measured.aerosol} rate was measured and a {certified.aerosol} rate is certified. These are different "
            "tests, so they are not compared."
        )
    if not (measured.channel in MASS_CHANNELS or measured.channel.startswith("count")):
        return f"The channel {measured.channel} does not count particles, so it is not compared with a particle rate."
    if not measured.at_highest_setting:
        return "A certified rate applies to the highest setting; this one was measured at a lower setting."
    return ""

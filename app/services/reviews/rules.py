"""Rules that find strengths and weaknesses of a unit, each with threshold, evidence and rank.

A rule applies only where the data support it, and calls no unit "the best": it gives the rank among those tested.
Thresholds are in `thresholds.py`, and shown on the page beside each point.
"""

import math
from collections.abc import Callable

from app.compute.cost_and_energy.running_cost import RunningCost
from app.compute.wording.numbers import counted, doubtful_text, money, money_between, not_within
from app.compute.wording.rounding import rounded_text
from app.services.measurements.sound_levels import SettingLevel
from app.services.ranking.table import RankedSetting
from app.services.reviews.facts import ReviewFacts
from app.services.reviews.figures import cost_shown, power_shown, rate_shown
from app.services.reviews.places import BY_CLEAN_AIR, BY_COST, BY_POWER, BY_PRICE, BY_SOUND, Place, place_of
from app.services.reviews.thresholds import (
    LOUD_DBA,
    PARTS_SHARE_OF_PRICE,
    QUIET_DBA,
    STANDBY_W,
    THRESHOLDS,
)
from app.services.reviews.wording import DraftPoint, Span, Spans, join_spans, newest_trial

STRENGTH, WEAKNESS = "strength", "weakness"


def points_of(facts: ReviewFacts) -> tuple[DraftPoint, ...]:
    """Points of all rules, strengths first, in the order of the rules."""
    found = [point for rule in RULES.values() for point in (rule(facts),) if point is not None]
    return tuple(sorted(found, key=lambda point: point.kind != STRENGTH))


def _point(key: str, kind: str, words: Spans, place: Place | None = None) -> DraftPoint:
    return DraftPoint(key, kind, words, words, THRESHOLDS[key], place.words if place else "")


def _rate(line: RankedSetting) -> float | None:
    return line.row.clean_air_delivery_rate_m3_per_h if line.has_rate else None


def _clean_air(facts: ReviewFacts) -> DraftPoint | None:
    place = place_of(facts, _rate, BY_CLEAN_AIR, larger_is_better=True)
    if facts.highest is None or place is None:
        return None
    rate = newest_trial(rate_shown(facts.highest), facts.trials(facts.highest))
    middle = (facts.ranked + 1) / 2
    if place.in_first_share and facts.rank is not None and facts.rank.rank_high_95 < middle:
        words = join_spans("It delivers a lot of clean air: ", rate, ", ", place.span, ".")
        return _point("clean_air", STRENGTH, words, place)
    if place.in_last_share and facts.rank is not None and facts.rank.rank_low_95 > middle:
        words = join_spans("It delivers little clean air: ", rate, ", ", place.span, ".")
        return _point("clean_air", WEAKNESS, words, place)
    return None


def _no_measurable_cleaning(facts: ReviewFacts) -> DraftPoint | None:
    line = facts.highest
    if line is None or line.row.measurable != 0:
        return None
    words = join_spans(
        "No measurable cleaning: at its highest setting it cannot be told apart from an empty room, ",
        newest_trial(rate_shown(line), facts.trials(line)),
        ".",
    )
    return _point("no_measurable_cleaning", WEAKNESS, words)


def _never_cleared(facts: ReviewFacts) -> DraftPoint | None:
    line = facts.highest
    if line is None or line.row.time_to_clear_min is not None or line.row.not_cleared_before_min is None:
        return None
    bound = newest_trial(not_within(line.row.not_cleared_before_min), facts.trials(line))
    words = join_spans("It did not reach the clear level before the runs ended: ", bound, ".")
    return _point("never_cleared", WEAKNESS, words)


def _per_watt(line: RankedSetting) -> float | None:
    rate = _rate(line)
    return None if rate is None or not line.row.power_w else rate / line.row.power_w


def _efficiency(facts: ReviewFacts) -> DraftPoint | None:
    place, line = place_of(facts, _per_watt, BY_POWER, larger_is_better=True), facts.highest
    if place is None or line is None or not (place.in_first_share or place.in_last_share):
        return None
    of_power = (line.row.power_uncertainty_w or 0.0) / (line.row.power_w or 1.0)
    per_watt = _share_text(_per_watt(line) or 0.0, line, "m³/h per watt", of_power)
    figure = newest_trial(per_watt, facts.trials(line))
    power = Span(power_shown(line), facts.page("power"))
    good = place.in_first_share
    lead = "It uses little power for its clean air: " if good else "It uses a lot of power for its clean air: "
    words = join_spans(lead, figure, " at ", power, ", ", place.span, ".")
    return _point("efficiency", STRENGTH if good else WEAKNESS, words, place)


def _share_text(value: float, line: RankedSetting, unit_symbol: str, of_other: float = 0.0) -> str:
    """A value that scales with the rate, rounded to its relative uncertainty and that of the other quantity in it;
    with its interval where that is large.
    """
    rate, uncertainty = _rate(line), line.row.clean_air_delivery_rate_uncertainty
    relative = math.hypot(uncertainty / rate, of_other) if rate and uncertainty else None
    return doubtful_text(value, None if relative is None else value * relative, unit_symbol)


def level_of_line(line: RankedSetting) -> float | None:
    """The sound level of a line [dB(A)]."""
    return line.sound.level_dba if line.sound else None


def _loud(facts: ReviewFacts) -> DraftPoint | None:
    level = _level_of(facts, facts.highest.row.setting_id if facts.highest else None)
    if level is None or level.level is None or level.level.upper_bound or level.level.level_dba.low_95 < LOUD_DBA:
        return None
    place = place_of(facts, level_of_line, BY_SOUND, larger_is_better=False)
    where = join_spans(", ", place.span, " from quietest to loudest") if place else ()
    words = join_spans("It is loud at its highest setting: ", sound_text(facts, level), where, ".")
    return _point("loud", WEAKNESS, words, place)


def _quiet(facts: ReviewFacts) -> DraftPoint | None:
    """The strongest setting that is significantly below the quiet level and still cleans measurably."""
    fitting = []
    for line in facts.known.lines.lines:
        level = _level_of(facts, line.row.setting_id)
        found = None if level is None else level.level
        if level is not None and found is not None and line.has_rate and found.level_dba.high_95 <= QUIET_DBA:
            fitting.append((line, level))
    if not fitting:
        return None
    line, level = max(fitting, key=lambda pair: _rate(pair[0]) or 0.0)
    words = join_spans(
        f"It cleans measurably while quiet: at “{line.row.setting}” ",
        newest_trial(rate_shown(line), facts.trials(line)),
        " at ",
        sound_text(facts, level),
        ".",
    )
    return _point("quiet", STRENGTH, words)


def _level_of(facts: ReviewFacts, setting_id: int | None) -> SettingLevel | None:
    return next((level for level in facts.known.sounds if level.setting.id == setting_id), None)


def sound_text(facts: ReviewFacts, level: SettingLevel) -> Spans:
    """A level with its interval, linked to the readings."""
    found = level.level
    if found is None:
        return join_spans("not measured")
    value = f"{rounded_text(found.level_dba.value, 0)}\u00a0dB(A)"
    estimated = "an estimated " if found.estimate else ""
    if found.upper_bound:
        return join_spans(Span(f"{estimated}at most {value}", facts.page("sound")))
    low, high = (rounded_text(end, 0) for end in found.level_dba.interval_95)
    return join_spans(Span(f"{estimated}{value} ({low} to {high})", facts.page("sound")))


def _whole_cost(line: RankedSetting) -> float | None:
    return None if line.cost is None or line.cost.at_least else line.cost.total_per_year


def _running_cost(facts: ReviewFacts) -> DraftPoint | None:
    place, line = place_of(facts, _whole_cost, BY_COST, larger_is_better=False), facts.highest
    if place is None or line is None or not (place.in_first_share or place.in_last_share):
        return None
    good = place.in_first_share
    lead = "It is cheap to run: " if good else "It is expensive to run: "
    costs = facts.costs_page
    hours = Span(f"{facts.known.lines.offered.hours_per_day:g}\u00a0h per day", costs)
    words = join_spans(lead, Span(cost_shown(line), costs), " at its highest setting, ", hours, ", ", place.span, ".")
    return _point("running_cost", STRENGTH if good else WEAKNESS, words, place)


def _price_of_air(facts: ReviewFacts) -> DraftPoint | None:
    def per_100(line: RankedSetting) -> float | None:
        rate = _rate(line)
        known = line.row.price is not None and line.row.price_currency == facts.currency
        return 100 * (line.row.price or 0.0) / rate if known and rate else None

    place, line = place_of(facts, per_100, BY_PRICE, larger_is_better=False), facts.highest
    if place is None or line is None or not (place.in_first_share or place.in_last_share):
        return None
    good = place.in_first_share
    lead = "Its price is low for its clean air: " if good else "Its price is high for its clean air: "
    per_rate = f"{_share_text(per_100(line) or 0.0, line, facts.currency)} per 100\u00a0m³/h"
    figure = newest_trial(per_rate, facts.trials(line))
    price = Span(money(line.row.price or 0.0, facts.currency), facts.page("edit"))
    words = join_spans(lead, figure, ", price ", price, ", ", place.span, ".")
    return _point("price_of_air", STRENGTH if good else WEAKNESS, words, place)


def _parts(facts: ReviewFacts) -> DraftPoint | None:
    line = facts.highest
    if line is None or line.cost is None or not line.row.price or line.row.price_currency != facts.currency:
        return None
    parts = line.cost.consumables_cost_per_year
    if parts < PARTS_SHARE_OF_PRICE * line.row.price:
        return None
    words = join_spans(
        "Its consumables are expensive compared with its price: ",
        Span(f"{_parts_text(line.cost, facts.currency)} per year", facts.costs_page),
        " compared with ",
        Span(money(line.row.price, facts.currency), facts.page("edit")),
        " for the unit.",
    )
    return _point("parts", WEAKNESS, words)


def _parts_text(cost: RunningCost, currency: str) -> str:
    """The cost of consumables as the section on costs gives it."""
    return money_between(
        cost.consumables_cost_per_year, cost.consumables_interval_95, currency, cost.consumables_missing
    )


def _standby(facts: ReviewFacts) -> DraftPoint | None:
    standby = next((power for power in facts.known.powers if power.setting is None), None)
    if standby is None or standby.power is None or standby.power.low_95 <= STANDBY_W:
        return None
    shown = doubtful_text(standby.power.value, standby.power.uncertainty, "W", decimals=1)
    watts = Span(shown, facts.page("power"))
    words = join_spans("It draws power while off: ", watts, " in standby.")
    return _point("standby", WEAKNESS, words)


def _claims(facts: ReviewFacts) -> DraftPoint | None:
    verdicts = [entry.check.verdict for entry in facts.known.claims]
    failed, held = verdicts.count("not supported"), verdicts.count("supported")
    address = facts.page("claims")
    if failed:
        number = Span("the only claim" if len(verdicts) == 1 else f"{failed} of {len(verdicts)} claims", address)
        words = join_spans("The measurements do not support ", number, " of the maker.")
        return _point("claims", WEAKNESS, words)
    if held:
        number = Span("the only claim" if len(verdicts) == 1 else f"{held} of {len(verdicts)} claims", address)
        rest = "." if held == len(verdicts) else "; the rest cannot be tested here."
        words = join_spans("The measurements support ", number, f" of the maker{rest}")
        return _point("claims", STRENGTH, words)
    return None


def _ozone(facts: ReviewFacts) -> DraftPoint | None:
    finding = facts.known.ozone.finding
    if not finding.above_limits:
        return None
    words = join_spans("It produces ozone above a public limit. ", Span(finding.sentence, facts.page("ozone")))
    return _point("ozone", WEAKNESS, words)


def _repeats(facts: ReviewFacts) -> DraftPoint | None:
    line = facts.highest
    if line is None or not line.row.heterogeneous:
        return None
    trials = newest_trial(counted(line.row.usable_trials or 0, "trial"), facts.trials(line))
    words = join_spans(
        "Its trials differ by more than their uncertainty explains: ", trials, " at the highest setting."
    )
    return _point("repeats", WEAKNESS, words)


RULES: dict[str, Callable[[ReviewFacts], DraftPoint | None]] = {
    "no_measurable_cleaning": _no_measurable_cleaning,
    "clean_air": _clean_air,
    "never_cleared": _never_cleared,
    "quiet": _quiet,
    "loud": _loud,
    "efficiency": _efficiency,
    "price_of_air": _price_of_air,
    "running_cost": _running_cost,
    "parts": _parts,
    "standby": _standby,
    "claims": _claims,
    "ozone": _ozone,
    "repeats": _repeats,
}

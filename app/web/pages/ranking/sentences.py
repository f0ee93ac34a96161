"""Sentences of the ranking: its finding, its other end, and the conditions of the numbers."""

from typing import TYPE_CHECKING

from app.compute.wording.numbers import counted, listed, measured_text
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import channel, is_indicative
from app.services.ranking.assumed_spread import assumed_spread_words
from app.services.ranking.table import RankedSetting, Ranking
from app.services.snapshot.choices import EVERY, HIGHEST, QUIETEST, RankingChoices
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import rate_text

if TYPE_CHECKING:
    from app.services.ranking.rank_intervals import RankView

MOST_TIES_NAMED = 3
INDICATIVE = "VOC is indicative only: small sensors respond to many gases and drift"


def answer(ranking: Ranking, system: UnitSystem, view: "RankView | None" = None) -> str:
    """The finding in one sentence, with numbers of the lines shown.

    view : their simultaneous rank intervals; without them, or by another quantity, no unit is said to be the fastest
    """
    leader = ranking.leader
    if leader is None:
        if ranking.total_lines == 0:
            return "No units match these filters. Relax one of them."
        if ranking.without_rate == ranking.total_lines:
            return (
                "No unit has a clean air delivery rate yet: it needs a usable trial of the unit and an empty-room run "
                "of the same room."
            )
        return "None of these units can be told apart from an empty room."
    sentence = f"{name_of(leader)} {_lead(leader, view)}"
    if leader.row.standard_clearing_time_min is not None:
        time = measured_text(
            leader.row.standard_clearing_time_min,
            None,
            leader.row.standard_clearing_time_low_95_min,
            leader.row.standard_clearing_time_high_95_min,
        )
        sentence += f": 95\u00a0% reduction in {time.value}\u00a0min ({time.interval})"
    rate = rate_text(leader, system)
    return f"{sentence}, with a clean air delivery rate of {rate.value}\u00a0{system.flow_symbol} ({rate.interval})."


def further_answer(ranking: Ranking, system: UnitSystem) -> str:
    """The other end of the ranking."""
    leader, last, sentences = ranking.leader, ranking.last, []
    if leader is None:
        return ""
    if last is not None and last is not leader:
        slowest = rate_text(last, system)
        sentences.append(
            f"The weakest unit with measurable cleaning is {name_of(last)} with "
            f"{slowest.value}\u00a0{system.flow_symbol} ({slowest.interval})."
        )
    if ranking.not_measurable:
        verb = "cannot be told apart from an empty room."
        sentences.append(f"{counted(ranking.not_measurable, 'other')} {verb}")
    return " ".join(sentences)


def _lead(leader: RankedSetting, view: "RankView | None") -> str:
    """What the rank intervals support about the line with the highest rate."""
    if view is None or view.by != "clean_air_delivery_rate" or leader.row.setting_id is None:
        return "has the highest measured rate"
    alike = [view.names[key] for key in view.ranks.like(leader.row.setting_id)]
    if not alike:
        return "clears the room fastest"
    named = alike if len(alike) <= MOST_TIES_NAMED else [*alike[:2], f"{len(alike) - 2} others"]
    return f"ranks first, in a statistical tie with {listed(named)}"


def name_of(line: RankedSetting) -> str:
    return f"{line.row.maker} {line.row.model}"


def conditions(ranking: Ranking, system: UnitSystem) -> tuple[str, ...]:
    """Conditions of the numbers, a phrase each."""
    chosen, offered = ranking.choices, ranking.offered
    found = []
    if ranking.room is not None:
        found.append(f"Test room: {ranking.room.name}, {rounded_text(ranking.room.room_volume_m3, 1)}\u00a0m³")
    found.append(f"{channel(chosen.channel).label} of {chosen.aerosol}")
    if is_indicative(chosen.channel):
        found.append(INDICATIVE)
    found.append(_setting_text(chosen))
    if offered.price_per_kwh is not None:
        region = f" ({offered.tariff_region})" if offered.tariff_region else ""
        found.append(
            f"electricity at {rounded_text(offered.price_per_kwh, 3)}\u00a0{offered.currency}/kWh{region}, "
            f"{offered.hours_per_day:g}\u00a0h per day"
        )
    found.append(f"sound at {offered.standard_distance_m:g}\u00a0m, {offered.sound_correction_rule}")
    if ranking.needed_rate_m3_per_h is not None:
        needed = rounded_text(ranking.needed_rate_m3_per_h * system.flow_factor, 0)
        found.append(f"the room needs {needed}\u00a0{system.flow_symbol} by the {chosen.room_rule}")
    if assumed := assumed_spread_words(ranking.lines):
        found.append(assumed)
    return tuple(found)


def _setting_text(chosen: RankingChoices) -> str:
    words = {
        HIGHEST: "each unit at its highest setting",
        QUIETEST: "each unit at its quietest setting",
        EVERY: "every setting",
    }
    return words.get(chosen.setting, f"each unit at the setting “{chosen.setting}”")

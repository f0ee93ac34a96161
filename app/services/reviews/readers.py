"""Sections of a draft review for readers: who should buy it, who should not, cautions, disclosure."""

import math

from app.compute.clean_air.conversions import M2_PER_SQUARE_FOOT
from app.compute.clean_air.room_need import FLOOR_PER_RATE, need_by_155_rule
from app.services.ranking.table import RankedSetting
from app.services.reviews.facts import ReviewFacts
from app.services.reviews.thresholds import QUIET_DBA
from app.services.reviews.wording import DraftSection, Span, Spans, cite_trials, join_spans, linked_trials

NOT_A_PROTECTION = (
    "This is a measurement of particles in one room, not medical advice. No air cleaner protects people with asthma, "
    "allergies, heart or lung disease; they should ask a doctor. It does not replace fresh air, a smoke alarm or a "
    "carbon monoxide alarm; follow local rules."
)


def who_should_buy(facts: ReviewFacts) -> DraftSection:
    """Floor areas that a setting is enough for by the 1.55 rule: at its highest, and at the strongest quiet setting."""
    line = facts.highest
    items = []
    if line is not None and line.has_rate:
        items.append(join_spans("For a room of up to ", _floor(facts, line), ", at the noise of its highest setting."))
        quiet = [
            one
            for one in facts.known.lines.lines
            if one.has_rate and one.sound and one.sound.level_dba is not None and one.sound.level_dba <= QUIET_DBA
        ]
        if quiet:
            best = max(quiet, key=lambda one: one.row.clean_air_delivery_rate_m3_per_h or 0.0)
            at = f", at “{best.row.setting}”."
            items.append(join_spans("For a room of up to ", _floor(facts, best), " below ", _quiet(facts), at))
    rule = (
        f"By the {FLOOR_PER_RATE.value:g} rule, for a ceiling of 8\u00a0ft (2.44\u00a0m); a room with a higher "
        "ceiling needs more."
    )
    first = join_spans(rule) if items else join_spans("Nobody who wants to remove smoke: no cleaning was measurable.")
    if line is None or line.row.clean_air_delivery_rate_m3_per_h is None:
        first = join_spans("Not known until it is tested.")
    return DraftSection("for_whom", "Who should buy it?", (first,), items=tuple(items))


def _quiet(facts: ReviewFacts) -> Span:
    """The threshold for "quiet", linked to the list of thresholds."""
    return Span(f"{QUIET_DBA:g}\u00a0dB(A)", facts.page("draft#rules"))


def _floor(facts: ReviewFacts, line: RankedSetting) -> Spans:
    area = (line.row.clean_air_delivery_rate_m3_per_h or 0.0) / need_by_155_rule(1.0).rate_m3_per_h
    # rounded down: a larger room than was measured would be promised otherwise
    words = f"{math.floor(area)}\u00a0m² ({math.floor(area / M2_PER_SQUARE_FOOT)}\u00a0ft²)"
    return cite_trials(words, facts.trials(line))


def who_should_not(facts: ReviewFacts) -> DraftSection:
    line = facts.highest
    items = []
    if line is not None and line.row.measurable == 0:
        items.append(join_spans("Anyone who wants to remove smoke from a room."))
    if line is not None and line.has_rate:
        items.append(join_spans("Anyone with a larger room than ", _floor(facts, line), "."))
    better = [other for other in facts.others if other.stronger and other.cheaper]
    if better:
        named = [Span(other.name, f"/units/{other.unit_id}") for other in better]
        commas = [part for name in named[:-1] for part in (name, Span(", "))][:-1]
        together = join_spans(commas, " and ", named[-1]) if commas else join_spans(named[-1])
        verb = " are stronger and cheaper." if commas else " is stronger and cheaper."
        items.append(join_spans("Anyone who only wants the most clean air for the money: ", together, verb))
    quiet = any(
        one.has_rate and one.sound and one.sound.level_dba is not None and one.sound.level_dba <= QUIET_DBA
        for one in facts.known.lines.lines
    )
    measured = any(level.level is not None for level in facts.known.sounds)
    if line is not None and line.has_rate and measured and not quiet:
        items.append(join_spans("Anyone who needs less than ", _quiet(facts), ": no such setting cleans measurably."))
    empty = () if items else (join_spans("The measurements give no reason to advise anyone in particular against it."),)
    return DraftSection("not_for_whom", "Who should not buy it?", empty, items=tuple(items))


def cautions(facts: ReviewFacts) -> DraftSection:
    items = [join_spans(NOT_A_PROTECTION)]
    ozone = facts.known.ozone.finding
    if ozone.caution:
        items.append(join_spans(Span(ozone.sentence, facts.page("ozone")), " ", ozone.caution))
    if facts.known.unit.kind == "water wash":
        items.append(join_spans("It humidifies the air, and optical sensors over-read in humid air; see its trials."))
    care = [trial_id for trial_id, notes in facts.known.notes.items() if notes]
    if care:
        items.append(join_spans("Trials with notes that must be read before use: ", linked_trials(sorted(care)), "."))
    items.append(
        join_spans(
            "The results apply to this unit, this room and this smoke; another unit of the same model may differ."
        )
    )
    return DraftSection("cautions", "Cautions", items=tuple(items))


def disclosure(facts: ReviewFacts) -> DraftSection:
    """Who paid for the unit; if not recorded, the draft says so, to prevent publication without it."""
    unit = facts.known.unit
    if not unit.bought_from and unit.bought_on is None:
        words = "The source of the unit is not recorded; record it before publishing."
    else:
        when = f", on {unit.bought_on.isoformat()}" if unit.bought_on else ""
        words = f"Source of the unit: {unit.bought_from or 'not recorded'}{when}."
    if facts.chart_facts.invented:
        words += " This is a demonstration with invented data: no such unit exists."
    return DraftSection("disclosure", "Disclosure", (join_spans(Span(words, facts.page("edit"))),))

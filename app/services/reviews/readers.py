"""Sections of a draft review for readers: who should buy it, who should not, cautions, disclosure."""

import math

from app.compute.clean_air.conversions import M2_PER_SQUARE_FOOT
from app.compute.clean_air.room_need import FLOOR_PER_RATE, need_by_155_rule
from app.services.ranking.table import RankedSetting
from app.services.reviews.facts import ReviewFacts
from app.services.reviews.thresholds import QUIET_DBA
from app.services.reviews.wording import (
    DraftSection,
    Span,
    Spans,
    join_phrases,
    join_spans,
    linked_trials,
    newest_trial,
)

NOT_A_PROTECTION = (
    "This is a measurement of particles in one room, not medical advice. No air cleaner protects people with asthma, "
    "allergies, heart or lung disease; they should ask a doctor. It does not replace fresh air, a smoke alarm or a "
    "carbon monoxide alarm; follow local rules."
)


def who_should_buy(facts: ReviewFacts) -> DraftSection:
    """Floor areas that a setting is enough for by the 1.55 rule: at its highest, and at the strongest quiet setting."""
    line = facts.highest
    if line is None or line.row.clean_air_delivery_rate_m3_per_h is None:
        return DraftSection("for_whom", "Who should buy it?", (join_spans("Not known until it is tested."),))
    if not line.has_rate:
        nobody = join_spans("Nobody who wants to remove smoke: no cleaning was measurable.")
        return DraftSection("for_whom", "Who should buy it?", (nobody,))
    words = join_spans(
        "For a room of up to ", _floor(facts, line), ", if the noise of its highest setting is bearable."
    )
    quiet = [one for one in facts.known.lines.lines if _is_quiet(one)]
    best = max(quiet, key=lambda one: one.row.clean_air_delivery_rate_m3_per_h or 0.0, default=None)
    if best is not None and _area_m2(best) >= 1:
        enough = join_spans(f", at “{best.row.setting}”, it is enough for ", _floor(facts, best), ".")
        words = join_spans(words, " Below ", _quiet(facts), enough)
    rule = (
        f"These are the floor areas of the {FLOOR_PER_RATE.value:g} rule, for a ceiling of 8\u00a0ft (2.44\u00a0m); "
        "a room with a higher ceiling needs more."
    )
    return DraftSection("for_whom", "Who should buy it?", (words, join_spans(rule)))


def _is_quiet(line: RankedSetting) -> bool:
    """Whether a setting cleans measurably at no more than the quiet level."""
    sound = line.sound
    return bool(line.has_rate and sound and sound.level_dba is not None and sound.level_dba <= QUIET_DBA)


def _quiet(facts: ReviewFacts) -> Span:
    """The threshold for "quiet", linked to the list of thresholds."""
    return Span(f"{QUIET_DBA:g}\u00a0dB(A)", facts.page("draft#rules"))


def _area_m2(line: RankedSetting) -> float:
    return (line.row.clean_air_delivery_rate_m3_per_h or 0.0) / need_by_155_rule(1.0).rate_m3_per_h


def _floor(facts: ReviewFacts, line: RankedSetting) -> Spans:
    area = _area_m2(line)
    # rounded down: a larger room than was measured would be promised otherwise
    words = f"{math.floor(area)}\u00a0m² ({math.floor(area / M2_PER_SQUARE_FOOT)}\u00a0ft²)"
    return newest_trial(words, facts.trials(line))


def who_should_not(facts: ReviewFacts) -> DraftSection:
    line = facts.highest
    found: list[Spans] = []
    if line is not None and line.row.measurable == 0:
        found.append(join_spans("Anyone who wants to remove smoke from a room."))
    if line is not None and line.has_rate:
        found.append(join_spans("Anyone with a room larger than ", _floor(facts, line), "."))
        measured = any(level.level is not None for level in facts.known.sounds)
        if measured and not any(_is_quiet(one) for one in facts.known.lines.lines):
            limit = join_spans("Nor anyone who needs less than ", _quiet(facts), ": ")
            found.append(join_spans(limit, "no setting that quiet cleans measurably."))
    better = [
        (Span(other.name, f"/units/{other.unit_id}"),) for other in facts.others if other.stronger and other.cheaper
    ]
    if better:
        verb = " are stronger and cheaper." if len(better) > 1 else " is stronger and cheaper."
        found.append(join_spans("For the most clean air for the money, ", join_phrases(better), verb))
    if not found:
        found.append(join_spans("The measurements give no reason to advise anyone in particular against it."))
    spaced = [part for words in found for part in (Span(" "), *words)][1:]
    return DraftSection("not_for_whom", "Who should not buy it?", (tuple(spaced),))


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

"""Headline and results table of a draft: one row for each setting, with the numbers that every page gives."""

from app.services.ranking.table import RankedSetting
from app.services.reviews.facts import ReviewFacts
from app.services.reviews.figures import cost_shown, power_shown, rate_shown, time_shown
from app.services.reviews.rules import sound_text
from app.services.reviews.wording import DraftPicture, DraftSection, Span, Spans, cite_trials, join_spans, newest_trial

_HEADS = ("Setting", "Clean air", "95\u00a0% of the smoke gone in", "Sound", "Power", "Running cost")


def headline(facts: ReviewFacts) -> str:
    """The finding in one line, without more than the measurements say."""
    line = facts.highest
    if line is None or line.row.clean_air_delivery_rate_m3_per_h is None:
        return f"{facts.name}: not tested yet"
    if not line.has_rate:
        return f"{facts.name}: no measurable cleaning"
    return f"{facts.name} delivers {rate_shown(line).partition(' (')[0]} of clean air"


def results(facts: ReviewFacts) -> DraftSection:
    lines = [line for line in facts.known.lines.lines if line.row.setting_id is not None]
    rows = [tuple(join_spans(head) for head in _HEADS), *(_row(facts, line) for line in lines)]
    pictures: tuple[DraftPicture, ...] = ()
    if facts.runs:
        unit, quantity = facts.known.unit.id, facts.known.lines.choices.channel
        address = f"/charts/decay-overlay.svg?unit={unit}&setting=every&channel={quantity}"
        alt = f"Decay curves of {facts.name}, one trial of each setting, with the empty room"
        pictures = (DraftPicture(address, alt),)
    return DraftSection("results", "Results", table=tuple(rows) if lines else (), pictures=pictures)


def _row(facts: ReviewFacts, line: RankedSetting) -> tuple[Spans, ...]:
    trials = facts.trials(line)
    level = next((level for level in facts.known.sounds if level.setting.id == line.row.setting_id), None)
    return (
        join_spans(f"“{line.row.setting}”"),
        _cell(cite_trials(rate_shown(line), trials) if rate_shown(line) else ()),
        _cell(_time(line, trials)),
        _cell(sound_text(facts, level) if level is not None and level.level is not None else ()),
        _cell(join_spans(Span(power_shown(line), facts.page("power")))),
        _cell(join_spans(Span(cost_shown(line), facts.costs_page))),
    )


def _time(line: RankedSetting, trials: tuple[int, ...]) -> Spans:
    """The time to 95 % reduction, an estimate where no run was that long; none without measurable cleaning."""
    if not line.has_rate or not time_shown(line):
        return ()
    estimated = "" if line.time_lies_beyond_min is None else "an estimated "
    return newest_trial(f"{estimated}{time_shown(line)}", trials)


def _cell(words: Spans) -> Spans:
    return words or join_spans("–")

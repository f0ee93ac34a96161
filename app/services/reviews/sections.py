"""Sections of a draft review, built from stored facts alone; every number links to its source."""

import re
from collections.abc import Sequence

from app.compute.method import METHOD_NAME, METHOD_VERSION
from app.compute.wording.numbers import counted, doubtful_text, listed, money, money_between
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import channel
from app.services.measurements.claims import CheckedClaim
from app.services.ranking.assumed_spread import spread_between_trials
from app.services.ranking.table import RankedSetting
from app.services.reviews.facts import ReviewFacts
from app.services.reviews.figures import power_shown, rate_shown, time_shown
from app.services.reviews.places import BY_SOUND, place_of
from app.services.reviews.rules import level_of_line, sound_text
from app.services.reviews.wording import (
    DraftSection,
    Span,
    Spans,
    cite_trials,
    join_phrases,
    join_spans,
    link_numbers,
    linked_trials,
    newest_trial,
)
from app.storage.models.rooms import Room
from app.storage.models.trials import Trial

_EMPTY_ROOMS = "/trials?kind=empty+room"
_DECIDED_BY_TRIALS = ("clean_air_delivery_rate", "room_area", "air_changes", "air_change_time")


def what_it_is(facts: ReviewFacts) -> DraftSection:
    unit, page = facts.known.unit, facts.page()
    entries: list[tuple[str, Spans]] = [
        ("Maker and model", join_spans(Span(facts.name, page))),
        ("Type", join_spans(unit.kind)),
    ]
    sides = (unit.width_mm, unit.depth_mm, unit.height_mm)
    if None not in sides:
        words = " × ".join(rounded_text(side or 0.0, 0) for side in sides)
        entries.append(("Size", join_spans(Span(f"{words}\u00a0mm", page))))
    if unit.mass_kg is not None:
        entries.append(("Mass", join_spans(Span(f"{rounded_text(unit.mass_kg, 1)}\u00a0kg", page))))
    settings = [line.row.setting or "" for line in facts.known.lines.lines if line.row.setting_id is not None]
    entries.append(("Settings", join_spans(listed(settings) or "none recorded")))
    if facts.known.prices:
        latest = facts.known.prices[0]
        price = Span(money(latest.amount, latest.currency), facts.page("edit"))
        source = f", {latest.source}" if latest.source else ""
        seen = Span(latest.seen_on.isoformat(), facts.page("edit"))
        entries.append(("Price", join_spans(price, ", seen on ", seen, source)))
    else:
        entries.append(("Price", join_spans("none recorded")))
    return DraftSection("what_it_is", "Specifications", facts=tuple(entries))


def how_it_was_tested(facts: ReviewFacts) -> DraftSection:
    """The method box: room, source, sensor, runs, days, empty-room runs, method."""
    runs, bench = facts.runs, facts.known.bench
    if not runs:
        return DraftSection("method", "How it was tested", (join_spans("There is no usable trial yet."),))
    rooms = {run.room.id: run.room for run in runs}
    trials_page = f"/trials?unit_under_test_id={facts.known.unit.id}"
    clear = {
        "absolute": f"{bench.clear_level_value:g}\u00a0µg/m³",
        "share_of_start": f"{100 * bench.clear_level_value:g}\u00a0% of the level at unit on",
        "background": f"{bench.clear_level_value:g}\u00a0µg/m³ above the background",
    }[bench.clear_level_kind]
    entries = [
        ("Room", _joined([Span(_room_text(room), f"/rooms/{room.id}/edit") for room in rooms.values()])),
        ("Smoke source", _joined(sorted({_source_text(run) for run in runs}, key=lambda span: span.text))),
        ("Sensor", _joined(sorted({_logger_text(run) for run in runs}, key=lambda span: span.text))),
        ("Quantity", join_spans(channel(facts.known.lines.choices.channel).label)),
        ("Runs", join_spans(Span(f"{len(runs)}", trials_page), " with the unit: ", _trial_list(runs))),
        (
            "Empty room",
            join_spans(Span(f"{len(facts.empty_rooms)}", _EMPTY_ROOMS), " without it: ", _trial_list(facts.empty_rooms))
            if facts.empty_rooms
            else join_spans("no run; a clean air delivery rate needs one"),
        ),
        ("Days", _days(runs)),
        ("Tested by", join_spans(listed(sorted({run.tested_by for run in runs if run.tested_by})) or "not recorded")),
        ("Clear level", join_spans(Span(clear, "/bench"))),
        ("Spread between trials", join_spans(spread_between_trials(facts.known.lines.lines))),
        ("Sound", _sound_method(facts)),
        ("Method", join_spans(Span(f"{METHOD_NAME}, version {METHOD_VERSION}", "/method"))),
    ]
    return DraftSection("method", "How it was tested", facts=tuple(entries))


def _room_text(room: Room) -> str:
    volume, uncertainty = rounded_text(room.room_volume_m3, 1), rounded_text(room.room_volume_uncertainty_m3, 1)
    return f"{room.name}, {volume} ± {uncertainty}\u00a0m³"


def _source_text(run: Trial) -> Span:
    source = run.smoke_source
    if source is None:
        return Span("not recorded")
    return Span(f"{source.name} ({source.aerosol})", f"/smoke-sources/{source.id}/edit")


def _logger_text(run: Trial) -> Span:
    logger = run.logger
    if logger is None:
        return Span("not recorded")
    words = f"{logger.name}, {logger.principle}" if logger.principle else logger.name
    return Span(words, f"/loggers/{logger.id}/edit")


def _joined(spans: Sequence[Span]) -> Spans:
    return join_spans(*(part for span in spans for part in (Span("; "), span)))[1:]


def _days(runs: Sequence[Trial]) -> Spans:
    """First and last day, each linked to its run."""
    ordered = sorted(runs, key=lambda run: (run.started_at, run.id))
    first, last = (Span(run.started_at.date().isoformat(), f"/trials/{run.id}") for run in (ordered[0], ordered[-1]))
    return (first,) if first.text == last.text else join_spans(first, " to ", last)


def _trial_list(runs: Sequence[Trial]) -> Spans:
    return join_spans("trials " if len(runs) > 1 else "trial ", linked_trials([run.id for run in runs]))


def _sound_method(facts: ReviewFacts) -> Spans:
    readings = [reading for level in facts.known.sounds for reading in level.measurements]
    if not readings:
        return join_spans("not measured")
    meters = sorted({reading.instrument for reading in readings if reading.instrument}) or ["an unspecified meter"]
    bench = facts.known.bench
    days = sorted(reading.measured_on.isoformat() for reading in readings)
    taken = f"{counted(len(readings), 'reading')} by {listed(meters)}, {days[0]} to {days[-1]}"
    distance = Span(f"{bench.standard_distance_m:g}\u00a0m", "/bench")
    rule = Span(bench.sound_correction_rule, "/bench")
    return join_spans(
        Span(taken, facts.page("sound")), ", converted to ", distance, ", background correction by ", rule
    )


def does_it_clean(facts: ReviewFacts) -> DraftSection:
    line = facts.highest
    heading = "Does it clean?"
    if line is None or line.row.clean_air_delivery_rate_m3_per_h is None:
        why = (
            "There is no clean air delivery rate yet: this needs a usable trial and an empty-room run in the same room."
        )
        return DraftSection("cleaning", heading, (join_spans(why),))
    trials = facts.trials(line)
    if not line.has_rate:
        first = join_spans(
            f"No measurable cleaning: at its highest setting, “{line.row.setting}”, it cannot be told apart from an "
            "empty room; it delivers ",
            cite_trials(rate_shown(line), trials),
            ".",
        )
    else:
        first = join_spans(
            f"{_compared_with_most(facts)} at its highest setting, “{line.row.setting}”, it delivers ",
            cite_trials(rate_shown(line), trials),
            " of clean air",
            _time_text(line, trials),
            ".",
            _rank_text(facts),
        )
    return DraftSection("cleaning", heading, (first,))


def _compared_with_most(facts: ReviewFacts) -> str:
    """The answer, with what the whole interval of ranks supports: better than most tested units, worse, or neither."""
    rank = facts.rank
    if rank is None or rank.place is None:
        return "Yes:"
    tested = len(facts.bench)
    if tested - rank.rank_high_95 > tested / 2:
        return "Yes, and better than most tested units:"
    return "Yes, but less than most tested units:" if rank.rank_low_95 - 1 > tested / 2 else "Yes:"


def _time_text(line: RankedSetting, trials: tuple[int, ...]) -> Spans:
    shown, end = time_shown(line), line.time_lies_beyond_min
    if not shown:
        return ()
    share = Span("95\u00a0%", "/method")
    takes = "takes" if end is None else "would take"
    found = join_spans(
        f", which {takes} ", share, " of the smoke out of the test room in ", newest_trial(shown, trials)
    )
    if end is None:
        return found
    ended = newest_trial(f"{rounded_text(end, 0)}\u00a0min", trials)
    return join_spans(found, ", an estimate because the runs ended after ", ended)


def _rank_text(facts: ReviewFacts) -> Spans:
    rank = facts.rank
    if rank is None or rank.place is None:
        return ()
    spread: Spans = ()
    if rank.rank_low_95 != rank.rank_high_95:
        ranks = Span(f"ranks {rank.rank_low_95} to {rank.rank_high_95}", "/ranking/order")
        spread = join_spans("; judged together with all others, it is within ", ranks)
    place = Span(f"rank {rank.place} of {facts.ranked}", "/ranking/order")
    return join_spans(" That is ", place, " units with measurable cleaning", spread, ".")


def how_loud(facts: ReviewFacts) -> DraftSection:
    measured = [
        join_spans(sound_text(facts, level), f" at “{level.setting.name}”")
        for level in facts.known.sounds
        if level.level is not None
    ]
    if not measured:
        return DraftSection("sound", "How loud is it?", (join_spans("Its sound was not measured."),))
    distance = Span(f"{facts.known.bench.standard_distance_m:g}\u00a0m", "/bench")
    words = join_spans("From ", distance, " away it is ", join_phrases(measured), ".")
    place = place_of(facts, level_of_line, BY_SOUND, larger_is_better=False)
    where = join_spans(" At its highest setting it is ", place.span, ", from quietest to loudest.") if place else ()
    return DraftSection("sound", "How loud is it?", (join_spans(words, where),))


def how_much_power(facts: ReviewFacts) -> DraftSection:
    running = [
        join_spans(Span(power_shown(line), facts.page("power")), f" at “{line.row.setting}”")
        for line in facts.known.lines.lines
        if power_shown(line)
    ]
    standby = next((power for power in facts.known.powers if power.setting is None), None)
    if standby is not None and standby.power is not None:
        text = doubtful_text(standby.power.value, standby.power.uncertainty, "W", decimals=1)
        running.append(join_spans(Span(text, facts.page("power")), " in standby"))
    words = join_spans("It draws ", join_phrases(running), ".") if running else join_spans("It was not measured.")
    return DraftSection("power", "How much power does it draw?", (words,))


def what_it_costs(facts: ReviewFacts) -> DraftSection:
    line, known = facts.highest, facts.known
    if line is None or line.cost is None:
        return DraftSection("cost", "What does it cost to own?", (join_spans("No electricity price is set."),))
    offered, costs = known.lines.offered, facts.costs_page
    cost, currency = line.cost, facts.currency
    of_energy = money_between(cost.energy_cost_per_year, cost.energy_interval_95, currency, cost.energy.missing)
    of_parts, left_out = cost.consumables_cost_per_year, cost.consumables_missing
    parts = Span(money_between(of_parts, cost.consumables_interval_95, currency, left_out), costs)
    shares = join_spans(": ", Span(of_energy, costs), " for energy, ", parts, " for filters and other consumables.")
    if not of_parts and not left_out:
        shares = join_spans(", all of it for energy.")
    first = join_spans(
        f"At “{line.row.setting}”, ",
        Span(f"{offered.hours_per_day:g}\u00a0h per day", costs),
        ", it costs ",
        Span(f"{money_between(cost.total_per_year, cost.interval_95, currency, cost.missing)} per year", costs),
        " to run",
        shares,
    )
    paragraphs = [first]
    if known.over_years is not None:
        years = len(known.over_years.by_year) - 1
        owned = known.over_years
        total = Span(money_between(owned.total, owned.interval_95, facts.currency, owned.missing), costs)
        over = Span(f"{years} years", costs)
        paragraphs.append(join_spans("Over ", over, ", with the purchase, that comes to ", total, "."))
    missing = tuple(dict.fromkeys((*line.cost.missing, *(known.over_years.missing if known.over_years else ()))))
    return DraftSection(
        "cost", "What does it cost to own?", tuple(paragraphs), items=tuple(join_spans(one) for one in missing)
    )


def _claim_text(facts: ReviewFacts, entry: CheckedClaim) -> Spans:
    """A claim with its check; a claim on cleaning also links to the trials that decide it."""
    words = join_spans(
        f"“{entry.claim.wording}” ", link_numbers(entry.check.sentence, facts.page("claims"), facts.names)
    )
    if entry.claim.quantity not in _DECIDED_BY_TRIALS:
        return words
    lines = facts.known.lines.lines
    ids = [one for line in lines if line.row.setting == entry.setting for one in facts.trials(line)]
    return join_spans(words, " [trials ", linked_trials(ids), "]") if ids else words


def what_is_claimed(facts: ReviewFacts) -> DraftSection:
    ratings = facts.page("ratings")
    items = [_claim_text(facts, entry) for entry in facts.known.claims]
    said: set[str] = set()
    for entry in facts.known.ratings:
        words = " ".join(one for one in re.split(r"(?<=\.) (?=[A-Z])", entry.comparison.sentence) if one not in said)
        said |= set(re.split(r"(?<=\.) (?=[A-Z])", entry.comparison.sentence))
        items.append(join_spans(f"Certified for {entry.rating.aerosol}: ", link_numbers(words, ratings)))
    empty = () if items else (join_spans("No claims or ratings recorded."),)
    return DraftSection("claims", "Claims and certified rates", empty, items=tuple(items))

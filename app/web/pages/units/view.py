"""Context of a unit's page."""

from dataclasses import dataclass

from app.compute.clean_air.ozone import LIMITS
from app.compute.clean_air.published_figure import PublishedFigure
from app.compute.wording.numbers import counted, is_uncertain, listed, measured_text, money, money_between
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import channel
from app.services.measurements.power_levels import SettingPower
from app.services.measurements.sound_levels import SettingLevel
from app.services.ranking.assumed_spread import assumed_spread_words
from app.services.ranking.table import RankedSetting
from app.services.reviews.unit_overview import UnitOverview
from app.services.reviews.verdicts import OutdatedText
from app.services.units.with_parts import ConsumableOfUnit
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import Cell, Scales, cells_of_line, time_to_clear_unit
from app.web.pages.units.more import UnitMore
from app.web.pages.units.trial_lines import UnitTrialLine, trial_line, trials_text, which_trials
from app.web.templating.page_context import Choice


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One setting in the table of "does it clean"."""

    setting: str
    is_highest: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class SoundLine:
    """Level and power of one setting, with the sentences on the level."""

    setting: str
    level: Cell
    readings: int
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartLine:
    """One consumable."""

    name: str
    kind: str
    life: str
    price: Cell
    history: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class UnitPage:
    """Context of the unit template; `known` holds the stored rows."""

    title: str
    name: str
    answer: str
    known: UnitOverview
    lines: tuple[SettingLine, ...]
    flow_symbol: str
    conditions: str
    does_nothing: bool
    has_curve: bool
    curve_words: str
    curve_query: str
    distance: str
    sounds: tuple[SoundLine, ...]
    powers: tuple[tuple[str, Cell], ...]
    cost_text: str
    cost_missing: tuple[str, ...]
    parts: tuple[PartLine, ...]
    parts_words: str
    prices: tuple[tuple[str, str, str], ...]  # date, amount, source
    trials: tuple[UnitTrialLine, ...]
    channels: tuple[Choice, ...]
    time_to_clear_unit: str
    more: UnitMore
    form: TypedForm
    trials_text: str
    which_trials: str
    older_trials: str  # of the link to all trials; empty where all are listed
    ozone_limits: tuple[PublishedFigure, ...] = LIMITS
    outdated: OutdatedText | None = None
    download_query: str = ""


def unit_page(known: UnitOverview, form: TypedForm, system: UnitSystem, more: UnitMore) -> UnitPage:
    unit, lines = known.unit, known.lines
    name = f"{unit.maker} {unit.model}"
    highest = _highest(known)
    top_rate = max((line.row.clean_air_delivery_rate_high_95 or 0.0 for line in lines.lines), default=0.0)
    longest = max((_time_scale(line) for line in lines.lines), default=0.0)
    room = (
        f"{lines.room.name}, {rounded_text(lines.room.room_volume_m3, 1)}\u00a0m³" if lines.room else "no test room yet"
    )
    scales = Scales(system, lines.room, lines.choices.channel, lines.offered.currency, top_rate, longest)
    return UnitPage(
        title=f"Does the {name} clean the air?",
        name=name,
        answer=_answer(known, highest, system),
        known=known,
        lines=tuple(
            SettingLine(
                line.row.setting or "",
                line is highest,
                tuple(cells_of_line(line, scales).values()),
            )
            for line in lines.lines
            if line.row.setting_id is not None
        ),
        flow_symbol=system.flow_symbol,
        conditions=" · ".join(
            phrase
            for phrase in (
                f"{channel(lines.choices.channel).label} of {lines.choices.aerosol} in {room}",
                assumed_spread_words(lines.lines),
            )
            if phrase
        ),
        does_nothing=highest is not None and highest.row.measurable == 0,
        has_curve=any(line.row.usable_trials for line in lines.lines),
        curve_words=_curve_words(known),
        curve_query=f"unit={unit.id}&setting=every&channel={lines.choices.channel}",
        distance=f"{known.bench.standard_distance_m:g}",
        sounds=tuple(_sound(level) for level in known.sounds),
        powers=tuple((power.name, _power(power)) for power in known.powers),
        cost_text=_cost_text(known, highest),
        cost_missing=_cost_missing(known, highest),
        parts=tuple(_part(part) for part in known.parts),
        parts_words=_parts_text(known),
        prices=tuple(
            (price.seen_on.isoformat(), money(price.amount, price.currency, 2), price.source) for price in known.prices
        ),
        trials=tuple(trial_line(one, known, system) for one in known.trials),
        channels=tuple(Choice(one, channel(one).label, one == lines.choices.channel) for one in lines.offered.channels),
        time_to_clear_unit=time_to_clear_unit(lines.choices.channel),
        more=more,
        form=form,
        trials_text=trials_text(known),
        which_trials=which_trials(known),
        older_trials=(
            f"All {rounded_text(known.number_of_trials, 0)} trials of this unit"
            if len(known.trials) < known.number_of_trials
            else ""
        ),
    )


def _curve_words(known: UnitOverview) -> str:
    """Which trials the curves are: the results of the table are from all trials, a curve is from one."""
    latest = sorted(known.latest_usable.values())
    if not latest:
        return ""
    trials = f"{'trial' if len(latest) == 1 else 'trials'} {listed([str(one) for one in latest])}"
    return (
        f"Curves of {trials}, the latest usable one of each setting, with the empty room for comparison: readings, "
        "fitted decay and its 95\u00a0% band. The numbers in the table are from all trials."
    )


def _highest(known: UnitOverview) -> RankedSetting | None:
    lines = [line for line in known.lines.lines if line.row.setting_id is not None]
    return max(lines, key=lambda line: (line.row.is_highest or 0, line.row.position or 0), default=None)


def _time_scale(line: RankedSetting) -> float:
    return line.row.time_to_clear_min or line.row.not_cleared_before_min or 0.0


def _answer(known: UnitOverview, highest: RankedSetting | None, system: UnitSystem) -> str:
    if highest is None:
        return "It has no speed setting yet, so it has not been tested."
    row = highest.row
    if not row.trials:
        return f"Not known yet: there is no trial at its highest setting, “{row.setting}”."
    rate = row.clean_air_delivery_rate_m3_per_h
    if rate is None:
        return (
            f"Not known yet: {counted(row.trials, 'trial')} at “{row.setting}”, but no clean air delivery rate. This "
            "needs a usable trial and an empty-room run in the same room."
        )
    words = system.flow_text(
        rate,
        row.clean_air_delivery_rate_uncertainty,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    if not highest.has_rate:
        bound = rounded_text((row.at_most_m3_per_h or rate) * system.flow_factor, 1)
        return (
            f"No measurable cleaning: at its highest setting it cannot be told apart from an empty room "
            f"(at most {bound}\u00a0{system.flow_symbol})."
        )
    answer = (
        f"At its highest setting, “{row.setting}”, it delivers {words.value}\u00a0{system.flow_symbol} of clean air "
        f"({words.interval})"
    )
    if row.standard_clearing_time_min is not None:
        time = measured_text(
            row.standard_clearing_time_min,
            None,
            row.standard_clearing_time_low_95_min,
            row.standard_clearing_time_high_95_min,
        )
        end = highest.time_lies_beyond_min
        takes = "takes" if end is None else "would take"
        answer += (
            f", which {takes} 95\u00a0% of the smoke out of the test room in {time.value}\u00a0min ({time.interval})"
        )
        if end is not None:
            answer += f", an estimate because the runs ended after {rounded_text(end, 0)}\u00a0min"
    return answer + "."


def _sound(level: SettingLevel) -> SoundLine:
    if level.level is None:
        return SoundLine(level.setting.name, Cell("missing", reason="Not measured at this setting."), 0, ())
    found = level.level
    words = measured_text(found.level_dba.value, found.level_dba.uncertainty)
    kind, text = "value", f"{words.value} ± {words.uncertainty}"
    if found.upper_bound:
        kind, text = "bound", f"≤ {words.value}{' est.' if found.estimate else ''}"
    elif found.estimate:
        kind = "estimate"
    reason = " ".join(found.sentences) or "Converted to the standard distance by the distance law."
    return SoundLine(level.setting.name, Cell(kind, text, reason=reason), found.readings, found.sentences)


def _power(power: SettingPower) -> Cell:
    if power.power is None:
        return Cell("missing", reason="Not measured.")
    value, uncertainty = power.power.value, power.power.uncertainty
    words = measured_text(value, uncertainty, max(0.0, power.power.low_95), power.power.high_95)
    if is_uncertain(value, uncertainty):
        return Cell("value", words.with_interval)
    return Cell("value", f"{words.value} ± {words.uncertainty}")


def _cost_text(known: UnitOverview, highest: RankedSetting | None) -> str:
    if highest is None or highest.cost is None:
        return "No electricity price is set, so no cost can be given."
    cost, currency = highest.cost, highest.cost.currency
    energy, parts = cost.energy.missing, cost.consumables_missing
    total = money_between(cost.total_per_year, cost.interval_95, currency, cost.missing)
    words = (
        f"{total[:1].upper()}{total[1:]} per year at “{highest.row.setting}”, "
        f"{known.lines.offered.hours_per_day:g}\u00a0h per day: "
        f"{money_between(cost.energy_cost_per_year, cost.energy_interval_95, currency, energy)} for energy, "
        f"{money_between(cost.consumables_cost_per_year, cost.consumables_interval_95, currency, parts)} for filters "
        "and other consumables"
    )
    if known.over_years is not None:
        years = len(known.over_years.by_year) - 1
        owned = money_between(known.over_years.total, known.over_years.interval_95, currency, known.over_years.missing)
        words += f"; {owned} over {years} years with purchase"
    return words + "."


def _cost_missing(known: UnitOverview, highest: RankedSetting | None) -> tuple[str, ...]:
    own = highest.cost.missing if highest is not None and highest.cost is not None else ()
    years = known.over_years.missing if known.over_years is not None else ()
    return tuple(dict.fromkeys((*own, *years)))


def _part(part: ConsumableOfUnit) -> PartLine:
    lives = ["washed, not replaced"] if part.washable else []
    if part.life_months is not None and not part.washable:
        lives.append(f"{part.life_months:g} months")
    if part.life_running_hours is not None and not part.washable:
        lives.append(f"{rounded_text(part.life_running_hours, 0)} running hours")
    words = " or ".join(lives) + (", whichever comes first" if len(lives) == 2 else "")
    history = tuple(
        f"{price.seen_on.isoformat()}: {money(price.amount, price.currency, 2)}"
        + (f", {price.source}" if price.source else "")
        for price in part.prices
    )
    price = Cell("missing", reason="No price recorded.")
    if part.washable:
        price = Cell("value", "none needed")
    elif part.prices:
        latest = part.prices[0]
        pack = f"pack of {part.pack_size}" if part.pack_size > 1 else ""
        price = Cell("value", money(latest.amount, latest.currency, 2), pack)
    return PartLine(part.name, part.kind, words, price, history)


def _parts_text(known: UnitOverview) -> str:
    state = known.unit.consumables_state
    if state == "none needed":
        return "Needs no filters or other consumables."
    if not known.parts:
        return "Whether it needs filters or other consumables is not recorded yet."
    return ""

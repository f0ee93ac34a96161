"""Quantities of one ranking line as text, with their bars on a common scale."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from app.compute.statistics.spread_sources import ASSUMED, BENCH, OWN_AND_ASSUMED
from app.compute.wording.numbers import (
    MeasuredText,
    amount_text,
    at_most,
    is_uncertain,
    listed,
    measured_text,
    money,
    not_within,
)
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import channel
from app.services.ranking.table import RankedSetting
from app.services.snapshot.choices import AvailableRoom
from app.web.forms.unit_system import UnitSystem


class Bar(NamedTuple):
    """An interval on the common scale of its column, in percent; `value` None draws no point."""

    low: float
    width: float
    value: float | None
    open_ended: bool
    words: str


class Cell(NamedTuple):
    """One quantity of one line: main text, text below it, and the reason if it is not a plain value.

    kind : "value", "bound" (censored or at most), "estimate" or "missing"
    """

    kind: str
    text: str = ""
    below: str = ""
    reason: str = ""
    bar: Bar | None = None
    further_below: str = ""


@dataclass(frozen=True, slots=True)
class Scales:
    """Shared by all lines of a table: unit system, conditions, and the ends of the bar scales."""

    system: UnitSystem
    room: AvailableRoom | None
    channel: str
    currency: str
    highest_rate_m3_per_h: float
    longest_time_min: float


def cells_of_line(line: RankedSetting, scales: Scales) -> dict[str, Cell]:
    """Every quantity of a line by the name of its column."""
    return {column: cell_of(line, scales) for column, cell_of in CELL_OF.items()}


def rate_text(line: RankedSetting, system: UnitSystem) -> MeasuredText:
    """The clean air delivery rate of a line that has one."""
    row = line.row
    return system.flow_text(
        row.clean_air_delivery_rate_m3_per_h or 0.0,
        row.clean_air_delivery_rate_uncertainty,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )


def time_to_clear_unit(channel_name: str) -> str:
    """Minutes, and the unit of the start level, which is shown below the time.

    >>> time_to_clear_unit("pm2_5")
    'min, from µg/m³'
    """
    unit = channel(channel_name).unit
    return f"min, from {unit}" if unit else "min"


def why_no_rate(line: RankedSetting) -> str:
    """Why a line has no clean air delivery rate."""
    row = line.row
    if row.setting_id is None:
        return "This unit has no speed setting yet. Add one on the unit page."
    if row.summary_id is None:
        return "No trial of this setting in this room with this channel."
    if not row.usable_trials:
        return f"None of the {row.trials} trials of this setting are usable; see the trial pages."
    if row.pool_id is None:
        return "No matching empty-room run, so the natural decay is not known."
    return "The trials of this setting gave no rate; see the trial pages."


def _rate_cell(line: RankedSetting, scales: Scales) -> Cell:
    row = line.row
    rate = row.clean_air_delivery_rate_m3_per_h
    if rate is None:
        return Cell("missing", reason=why_no_rate(line))
    low, high = row.clean_air_delivery_rate_low_95, row.clean_air_delivery_rate_high_95
    top = scales.highest_rate_m3_per_h
    words = rate_text(line, scales.system)
    bar = _bar(low, rate, high, top, f"{words.value}, {words.interval} {scales.system.flow_symbol}")
    if line.has_rate:
        return Cell("value", words.value, words.interval, bar=bar)
    bound = row.at_most_m3_per_h if row.at_most_m3_per_h is not None else max(high or rate, 0.0)
    text = at_most(bound * scales.system.flow_factor, "").rstrip("\u00a0")
    return Cell(
        "bound",
        text,
        reason=f"Measured {words.with_interval} {scales.system.flow_symbol}: cannot be told apart from an empty room.",
        bar=bar,
    )


def _bar(low: float | None, value: float, high: float | None, top: float, words: str) -> Bar | None:
    if top <= 0:
        return None
    left, right = (_share(value if low is None else low, top), _share(value if high is None else high, top))
    return Bar(left, round(max(right - left, 0.6), 1), _share(value, top), False, words)


def _share(value: float, top: float) -> float:
    return round(100 * min(max(value, 0.0), top) / top, 1)


def _air_changes_cell(line: RankedSetting, scales: Scales) -> Cell:
    row = line.row
    if row.clean_air_delivery_rate_m3_per_h is None or scales.room is None:
        return Cell("missing", reason=why_no_rate(line))
    if not line.has_rate:
        return Cell("missing", reason="Cannot be told apart from an empty room.")
    volume = scales.room.room_volume_m3
    found = (
        row.clean_air_delivery_rate_m3_per_h,
        row.clean_air_delivery_rate_uncertainty,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    value, uncertainty, low, high = (None if each is None else each / volume for each in found)
    words = measured_text(value or 0.0, uncertainty, low, high)
    return Cell("value", words.value, words.interval)


def _standard_time_cell(line: RankedSetting, _: Scales) -> Cell:
    row = line.row
    if row.standard_clearing_time_min is None:
        return Cell("missing", reason=why_no_rate(line) if not row.usable_trials else "No total decay rate.")
    words = measured_text(
        row.standard_clearing_time_min,
        None,
        row.standard_clearing_time_low_95_min,
        row.standard_clearing_time_high_95_min,
    )
    end = line.time_lies_beyond_min
    if end is None:
        return Cell("value", words.value, words.interval)
    reason = f"Calculated from the fitted rate: the runs ended after {rounded_text(end, 0)} min, before that time."
    return Cell("estimate", words.value, words.interval, reason)


def _time_to_clear_cell(line: RankedSetting, scales: Scales) -> Cell:
    row, top = line.row, scales.longest_time_min
    start = ""
    if row.start_level_low is not None and row.start_level_high is not None:
        low, high = rounded_text(row.start_level_low, 0), rounded_text(row.start_level_high, 0)
        start = f"from {low}" if low == high else f"from {low}–{high}"
    if row.time_to_clear_min is not None:
        words = measured_text(row.time_to_clear_min, None, row.time_to_clear_low_min, row.time_to_clear_high_min)
        spread = _spread_text(row.time_to_clear_low_min, row.time_to_clear_high_min, words)
        bar = _bar(
            row.time_to_clear_low_min,
            row.time_to_clear_min,
            row.time_to_clear_high_min,
            top,
            f"{words.value} min, {start} {channel(scales.channel).unit}",
        )
        return Cell("value", words.value, spread, bar=bar, further_below=start)
    if row.not_cleared_before_min is not None:
        bound = not_within(row.not_cleared_before_min)
        bar = Bar(_share(row.not_cleared_before_min, top), 0.0, None, True, f"not within {bound[2:]}") if top else None
        return Cell(
            "bound",
            bound.removesuffix("\u00a0min"),
            start,
            "The clear level was not reached before the end of the runs, so this is a lower bound.",
            bar,
        )
    return Cell(
        "missing", reason=why_no_rate(line) if not row.usable_trials else "The level was never above the clear level."
    )


def _spread_text(low: float | None, high: float | None, words: MeasuredText) -> str:
    """Interval of a median over trials; with few trials it is open on one or both sides."""
    if low is None and high is None:
        return "one run"
    if low is None or high is None:
        return f"at most {words.high}" if low is None else f"at least {words.low}"
    return words.interval


def _sound_cell(line: RankedSetting, _: Scales) -> Cell:
    sound = line.sound
    if sound is None or sound.level_dba is None:
        return Cell("missing", reason="The sound of this setting was not measured.")
    words = measured_text(sound.level_dba, sound.uncertainty_db)
    below = f"± {words.uncertainty}"
    if sound.is_upper_bound:
        return Cell("bound", f"≤ {words.value}", f"{below}, est." if sound.is_estimate else below, sound.words)
    kind, reason = ("estimate", sound.words) if sound.is_estimate else ("value", "")
    return Cell(kind, words.value, below, reason)


def _power_cell(line: RankedSetting, _: Scales) -> Cell:
    if line.row.power_w is None:
        return Cell("missing", reason="The power of this setting was not measured.")
    power, uncertainty = line.row.power_w, line.row.power_uncertainty_w or 0.0
    words = measured_text(power, uncertainty, max(0.0, power - 1.96 * uncertainty), power + 1.96 * uncertainty)
    return Cell("value", words.value, words.interval if is_uncertain(power, uncertainty) else f"± {words.uncertainty}")


def _price_cell(line: RankedSetting, scales: Scales) -> Cell:
    row = line.row
    if row.price is None or row.price_currency is None:
        return Cell("missing", reason="No price recorded.")
    if row.price_currency != scales.currency:
        words = money(row.price, row.price_currency)
        return Cell("bound", words, reason=f"Seen on {row.price_on} in another currency; not converted, not sorted.")
    return Cell("value", rounded_text(row.price, 0))


def _cost_cell(line: RankedSetting, _: Scales) -> Cell:
    cost = line.cost
    if cost is None:
        return Cell("missing", reason="No electricity price is set. Enter one under “Running cost”.")
    if cost.at_least and cost.total_per_year == 0:
        return Cell("missing", reason=" ".join(cost.missing))
    if cost.at_least:
        return Cell("bound", f"≥ {amount_text(cost.total_per_year).value}", reason=" ".join(cost.missing))
    words = amount_text(cost.total_per_year, cost.interval_95)
    return Cell("value", words.value, words.interval if words.low != words.high else "")


def _trials_cell(line: RankedSetting, _: Scales) -> Cell:
    row = line.row
    if row.summary_id is None:
        return Cell("value", "0")
    left_out = []
    if row.excluded_trials:
        left_out.append(f"{row.excluded_trials} excluded")
    unusable = (row.trials or 0) - (row.usable_trials or 0) - (row.excluded_trials or 0)
    if unusable > 0:
        left_out.append(f"{unusable} unusable")
    text = str(row.usable_trials or 0)
    if left_out:
        return Cell("bound", f"{text} of {row.trials}", reason=f"Not included: {listed(left_out)}.")
    if row.between_trial_source in _SPREAD_REASONS:
        return Cell("bound", text, reason=_SPREAD_REASONS[row.between_trial_source])
    return Cell("value", text)


_SPREAD_REASONS = {
    BENCH: "Single trial: the spread is taken from the repeats of the whole bench.",
    ASSUMED: "Single trial: the spread between trials is assumed, because the bench has too few repeats.",
    OWN_AND_ASSUMED: "The spread between trials is partly assumed, because the bench has too few repeats.",
}

CELL_OF: dict[str, Callable[[RankedSetting, Scales], Cell]] = {
    "clean_air_delivery_rate": _rate_cell,
    "air_changes": _air_changes_cell,
    "standard_clearing_time": _standard_time_cell,
    "time_to_clear": _time_to_clear_cell,
    "sound": _sound_cell,
    "power": _power_cell,
    "price": _price_cell,
    "running_cost": _cost_cell,
    "trials": _trials_cell,
}

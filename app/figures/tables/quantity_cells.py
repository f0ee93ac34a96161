"""The quantities of one ranking line as cells of a table for download."""

from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import amount_text
from app.compute.wording.rounding import rounded_text
from app.figures.tables.table import (
    AT_LEAST,
    AT_MOST,
    ESTIMATE,
    ESTIMATED_AT_MOST,
    MORE_THAN,
    ExportCell,
    measured_cell,
    plain_cell,
)
from app.services.ranking.table import RankedSetting

NO_RATE = "No clean air delivery rate: this needs a usable trial and an empty-room run in the same room."


def rate_cell(line: RankedSetting, factor: float = 1.0) -> ExportCell:
    """The clean air delivery rate, or its upper limit if it is not distinguishable from zero."""
    row = line.row
    rate = row.clean_air_delivery_rate_m3_per_h
    if rate is None:
        return ExportCell(why=NO_RATE)
    if not line.has_rate:
        limit = row.at_most_m3_per_h if row.at_most_m3_per_h is not None else row.clean_air_delivery_rate_high_95
        why = "Cannot be told apart from an empty room."
        return plain_cell(max(limit or rate, 0.0) * factor, bound=AT_MOST, why=why)
    parts = (
        rate,
        row.clean_air_delivery_rate_uncertainty,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    return measured_cell(*(None if part is None else part * factor for part in parts))


def air_changes_cell(line: RankedSetting, room_volume_m3: float | None) -> ExportCell:
    """Clean air delivery rate over the volume of the test room, which counts as exact here."""
    if not line.has_rate or not room_volume_m3:
        return ExportCell(why=NO_RATE)
    return rate_cell(line, 1.0 / room_volume_m3)


def standard_time_cell(line: RankedSetting) -> ExportCell:
    row, end = line.row, line.time_lies_beyond_min
    return measured_cell(
        row.standard_clearing_time_min,
        None,
        row.standard_clearing_time_low_95_min,
        row.standard_clearing_time_high_95_min,
        bound="" if end is None else ESTIMATE,
        why="No total decay rate."
        if end is None
        else f"Calculated from the fitted rate: the runs ended after {rounded_text(end, 0)} min, before that time.",
    )


def time_to_clear_cell(line: RankedSetting) -> ExportCell:
    """The median over the trials; if not reached, more than the longest run."""
    row = line.row
    if row.time_to_clear_min is not None:
        return measured_cell(row.time_to_clear_min, None, row.time_to_clear_low_min, row.time_to_clear_high_min)
    if row.not_cleared_before_min is not None:
        return plain_cell(float(int(row.not_cleared_before_min)), 0, bound=MORE_THAN)
    return ExportCell(why="The level was never above the clear level, or there is no usable trial.")


def sound_cell(line: RankedSetting) -> ExportCell:
    sound = line.sound
    if sound is None or sound.level_dba is None:
        return ExportCell(why="Not measured.")
    bound = ESTIMATE if sound.is_estimate else ""
    if sound.is_upper_bound:
        bound = ESTIMATED_AT_MOST if sound.is_estimate else AT_MOST
    level = sound.level
    if level is None or not level.uncertainty:
        return plain_cell(sound.level_dba, 0, bound=bound, why=sound.words)
    low, high = level.interval_95
    return measured_cell(level.value, level.uncertainty, low, high, bound=bound, why=sound.words)


def power_cell(line: RankedSetting) -> ExportCell:
    power, spread = line.row.power_w, line.row.power_uncertainty_w
    if power is None:
        return ExportCell(why="Not measured.")
    half = 1.959963984540054 * (spread or 0.0)
    return measured_cell(power, spread, *((power - half, power + half) if spread else (None, None)))


def price_cell(line: RankedSetting, currency: str) -> ExportCell:
    """The latest price in the table's currency; other currencies are not converted."""
    row = line.row
    if row.price is None:
        return ExportCell(why="No price recorded.")
    if row.price_currency != currency:
        return ExportCell(why=f"Seen in {row.price_currency} only; not converted.")
    return plain_cell(row.price, 0)


def cost_cell(line: RankedSetting) -> ExportCell:
    cost = line.cost
    if cost is None:
        return ExportCell(why="No electricity price is set.")
    if cost.at_least:
        if cost.total_per_year == 0:
            return ExportCell(why=" ".join(cost.missing))
        return ExportCell(amount_text(cost.total_per_year).value, bound=AT_LEAST, why=" ".join(cost.missing))
    words = amount_text(cost.total_per_year, cost.interval_95)
    return ExportCell(words.value, words.low, words.high)


def text_cell(text: str) -> ExportCell:
    return ExportCell(text)


def measured(value: Measured | AsymmetricMeasured, *, bound: str = "") -> ExportCell:
    """A measured quantity with its interval."""
    low, high = value.interval_95
    return measured_cell(value.value, value.uncertainty, low, high, bound=bound)

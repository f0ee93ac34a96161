"""Figures that a review text depends on, as shown to readers, and which of them have changed since."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.compute.wording.numbers import at_most, doubtful_text, measured_text, money, money_between
from app.compute.wording.rounding import rounded_text
from app.services.ranking.rows import read_ranking_table
from app.services.ranking.table import RankedSetting
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import EVERY, RankingChoices

GONE = "no longer available"
OTHER = "other:"  # key prefix of figures of other units, followed by the unit id
_SAID_OF_OTHERS = ("price", "rate", "sound", "cost")


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure. `shown` is rounded to its uncertainty, so that an invisible change does not count."""

    key: str
    label: str
    value: float | None
    shown: str


@dataclass(frozen=True, slots=True)
class FigureChange:
    """A figure that is shown differently now than when the text was saved."""

    label: str
    before: str
    now: str

    @property
    def sentence(self) -> str:
        return f"{self.label[:1].upper()}{self.label[1:]}: was {self.before}, is {self.now}."


def figures_of_units(session: Session, unit_ids: Collection[int]) -> dict[int, tuple[Figure, ...]]:
    """Figures of each unit under the bench's own conditions, settings from the slowest; one read for all."""
    if not unit_ids:
        return {}
    table = read_ranking_table(current_snapshot(session), RankingChoices(setting=EVERY))
    wanted = set(unit_ids)
    found: dict[int, list[Figure]] = {unit_id: [] for unit_id in unit_ids}
    for line in table.lines:
        if line.row.unit_id in wanted:
            figures = found[line.row.unit_id]
            if not figures:
                figures += _price(line)
            figures += _of_setting(line)
    return {unit_id: tuple(figures) for unit_id, figures in found.items()}


def figures_of_other(line: RankedSetting) -> tuple[Figure, ...]:
    """Figures of another unit that a draft mentions: price, clean air, sound and cost at its highest setting."""
    name, number = f"{line.row.maker} {line.row.model}", line.row.unit_id
    join_spans = [
        figure for figure in (*_price(line), *_of_setting(line)) if figure.key.split(":")[-1] in _SAID_OF_OTHERS
    ]
    return tuple(
        Figure(f"{OTHER}{number}:{figure.key.split(':')[-1]}", f"{name}, {figure.label}", figure.value, figure.shown)
        for figure in join_spans
    )


def changes_between(before: Sequence[Figure], now: Sequence[Figure]) -> tuple[FigureChange, ...]:
    """Figures of the older list that are shown differently in the newer. New figures do not count.

    >>> was, now = Figure("1:power", "power", 40.0, "40 W"), Figure("1:power", "power", 52.0, "52 W")
    >>> [change.sentence for change in changes_between([was], [now])]
    ['Power: was 40 W, is 52 W.']
    """
    present = {figure.key: figure.shown for figure in now}
    return tuple(
        FigureChange(figure.label, figure.shown, present.get(figure.key, GONE))
        for figure in before
        if present.get(figure.key, GONE) != figure.shown
    )


def _price(line: RankedSetting) -> list[Figure]:
    row = line.row
    if row.price is None or row.price_currency is None:
        return []
    return [Figure("price", "price", row.price, money(row.price, row.price_currency, 2))]


def _of_setting(line: RankedSetting) -> list[Figure]:
    row = line.row
    if row.setting_id is None:
        return []
    at = f"at “{row.setting}”"
    shown = (
        ("rate", "clean air delivery rate", row.clean_air_delivery_rate_m3_per_h, rate_shown(line)),
        ("time", "time to 95\u00a0% reduction", row.standard_clearing_time_min, time_shown(line)),
        ("sound", "sound", line.sound.level_dba if line.sound else None, sound_shown(line)),
        ("power", "power", row.power_w, power_shown(line)),
        ("cost", "running cost", line.cost.total_per_year if line.cost else None, cost_shown(line)),
    )
    return [
        Figure(f"{row.setting_id}:{key}", f"{label} {at}", value, text) for key, label, value, text in shown if text
    ]


def rate_shown(line: RankedSetting) -> str:
    """The clean air delivery rate with its interval, or its upper limit; "" if there is none."""
    row = line.row
    rate = row.clean_air_delivery_rate_m3_per_h
    if rate is None:
        return ""
    if not line.has_rate:
        return at_most(max(row.at_most_m3_per_h or rate, 0.0), "m³/h")
    words = measured_text(
        rate,
        row.clean_air_delivery_rate_uncertainty,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    return f"{words.value}\u00a0m³/h ({words.interval})"


def time_shown(line: RankedSetting) -> str:
    row = line.row
    if row.standard_clearing_time_min is None:
        return ""
    words = measured_text(
        row.standard_clearing_time_min,
        None,
        row.standard_clearing_time_low_95_min,
        row.standard_clearing_time_high_95_min,
    )
    return f"{words.value}\u00a0min ({words.interval})"


def sound_shown(line: RankedSetting) -> str:
    sound = line.sound
    if sound is None or sound.level_dba is None:
        return ""
    bound = f"{'an estimated ' if sound.is_estimate else ''}{'at most ' if sound.is_upper_bound else ''}"
    return f"{bound}{rounded_text(sound.level_dba, 0)}\u00a0dB(A)"


def power_shown(line: RankedSetting) -> str:
    row = line.row
    return "" if row.power_w is None else doubtful_text(row.power_w, row.power_uncertainty_w, "W")


def cost_shown(line: RankedSetting) -> str:
    cost = line.cost
    if cost is None or (cost.at_least and cost.total_per_year == 0):
        return ""
    amount = money_between(cost.total_per_year, cost.interval_95, cost.currency, cost.missing)
    return f"{amount} a year"

"""The query behind the ranking: units and their settings with stored results, as plain rows.

It avoids ORM objects and keeps dates as text, so that a bench of a thousand units is read in a few
milliseconds. Each form of the query is built once, when it is needed; other choices are bound parameters.
"""

import math
from collections.abc import Collection
from functools import cache
from typing import Any, Literal, NamedTuple, TypeVar, cast

from sqlalchemy import (
    ColumnElement,
    Connection,
    Integer,
    Select,
    Table,
    Text,
    and_,
    bindparam,
    case,
    func,
    select,
    type_coerce,
)

from app.compute.cost_and_energy.meter import ASSUMED_METER_SHARE, STEPS_W, WHOLE_FROM_W
from app.services.snapshot.choices import RankingChoices
from app.services.snapshot.highest_setting import highest_setting_id
from app.storage.models.bench_measurements import PowerMeasurement
from app.storage.models.summaries import SettingSummary
from app.storage.models.units_under_test import Price, SpeedSetting, UnitUnderTest

# tables and not models: their statements compile in two thirds of the time
_UNIT, _SETTING, _SUMMARY, _PRICE, _POWER = (
    cast(Table, model.__table__) for model in (UnitUnderTest, SpeedSetting, SettingSummary, Price, PowerMeasurement)
)


class RankingRow(NamedTuple):
    """One setting of one unit (or one unit without settings) with its summary; missing values are None.

    Names as in the tables. `price_on`, `latest_trial_on` and `first_trial_on` are ISO days. A NamedTuple and not a
    dataclass, because it is filled straight from the driver's tuple.
    """

    unit_id: int
    maker: str
    model: str
    kind: str
    makes_ozone: int
    consumables_state: str
    setting_id: int | None
    setting: str | None
    position: int | None
    is_highest: int | None
    price: float | None
    price_currency: str | None
    price_on: str | None
    power_w: float | None
    power_variance_w2: float | None
    standby_power_w: float | None
    standby_power_variance_w2: float | None
    summary_id: int | None
    room_id: int | None
    trials: int | None
    usable_trials: int | None
    excluded_trials: int | None
    censored_trials: int | None
    latest_trial_id: int | None
    latest_trial_on: str | None
    first_trial_on: str | None
    worst_severity: str | None
    heterogeneous: int | None
    between_trial_source: str | None
    pool_id: int | None
    total_decay_per_h: float | None
    total_decay_uncertainty_per_h: float | None
    clean_air_delivery_rate_m3_per_h: float | None
    clean_air_delivery_rate_uncertainty: float | None
    clean_air_delivery_rate_low_95: float | None
    clean_air_delivery_rate_high_95: float | None
    measurable: int | None
    at_most_m3_per_h: float | None
    standard_clearing_time_min: float | None
    standard_clearing_time_low_95_min: float | None
    standard_clearing_time_high_95_min: float | None
    time_to_clear_min: float | None
    time_to_clear_low_min: float | None
    time_to_clear_high_min: float | None
    not_cleared_before_min: float | None
    start_level_low: float | None
    start_level_high: float | None

    @property
    def power_uncertainty_w(self) -> float | None:
        return _root(self.power_variance_w2)

    @property
    def standby_power_uncertainty_w(self) -> float | None:
        return _root(self.standby_power_variance_w2)


class IndexRow(NamedTuple):
    """The fields of a `RankingRow` by which lines are put in order where neither sound, watts nor money matter.

    Reading them takes a fourth of the time, and of a thousand units a page shows a hundred.
    """

    unit_id: int
    maker: str
    model: str
    kind: str
    setting_id: int | None
    setting: str | None
    position: int | None
    summary_id: int | None
    trials: int | None
    clean_air_delivery_rate_m3_per_h: float | None
    clean_air_delivery_rate_high_95: float | None
    measurable: int | None
    standard_clearing_time_min: float | None
    time_to_clear_min: float | None
    not_cleared_before_min: float | None


def _root(variance: float | None) -> float | None:
    """Taken in Python, because not every SQLite has it; rounding below zero becomes zero."""
    return None if variance is None else math.sqrt(max(0.0, variance))


def _latest_price() -> ColumnElement[int]:
    """Id of the latest price in the bench's currency, or in any currency if there is none in it."""
    ours = case((_PRICE.c.currency == bindparam("currency"), 0), else_=1)
    return (
        select(_PRICE.c.id)
        .where(_PRICE.c.unit_under_test_id == _UNIT.c.id)
        .order_by(ours, _PRICE.c.seen_on.desc(), _PRICE.c.id.desc())
        .limit(1)
        .correlate(_UNIT)
        .scalar_subquery()
    )


def _mean_power(of_setting: ColumnElement[bool]) -> ColumnElement[float | None]:
    """Mean over the repeats of one setting [W]."""
    return _of_power(func.avg(_POWER.c.power_w), of_setting)


def _power_variance(of_setting: ColumnElement[bool]) -> ColumnElement[float | None]:
    """Variance of that mean, as in `power_of_spot_readings`: s²/n of the repeats, plus the meter's, which repeats share
    [W²].
    """
    watts, readings = _POWER.c.power_w, func.count()
    of_repeats = (func.avg(watts * watts) - func.avg(watts) * func.avg(watts)) / (readings - 1.0)
    stated = func.avg(_POWER.c.uncertainty_w)
    of_class = case((stated > 0, stated), else_=ASSUMED_METER_SHARE * func.avg(watts))
    ones, tenths, hundredths = STEPS_W
    step = func.min(
        case(
            (and_(func.abs(watts - func.round(watts)) == 0, watts >= WHOLE_FROM_W), ones),
            (func.abs(10 * watts - func.round(10 * watts)) < 1e-6, tenths),
            else_=hundredths,
        )
    )
    of_meter = of_class * of_class + step * step / 12.0
    return _of_power(of_meter + case((readings > 1, of_repeats), else_=0.0), of_setting)


def _of_power(expression: ColumnElement[float], of_setting: ColumnElement[bool]) -> ColumnElement[float | None]:
    return (
        select(expression)
        .where(_POWER.c.unit_under_test_id == _UNIT.c.id, of_setting)
        .correlate(_UNIT, _SETTING)
        .scalar_subquery()
    )


def _build(fields: tuple[str, ...], of_unit: ColumnElement[bool]) -> Select[Any]:
    """The query of these fields of `RankingRow`, with the settings of a unit that `of_unit` joins to it."""
    running = _POWER.c.setting_id == _SETTING.c.id
    standing_by = _POWER.c.setting_id.is_(None)
    # every field that is no plain column of the summaries
    columns: dict[str, Any] = {
        "unit_id": _UNIT.c.id,
        "maker": _UNIT.c.maker,
        "model": _UNIT.c.model,
        "kind": _UNIT.c.kind,
        "makes_ozone": type_coerce(_UNIT.c.makes_ozone, Integer),
        "consumables_state": _UNIT.c.consumables_state,
        "setting_id": _SETTING.c.id,
        "setting": _SETTING.c.name,
        "position": _SETTING.c.position,
        "is_highest": type_coerce(_SETTING.c.is_highest, Integer),
        "price": _PRICE.c.amount,
        "price_currency": _PRICE.c.currency,
        "price_on": type_coerce(_PRICE.c.seen_on, Text),
        "power_w": _mean_power(running),
        "power_variance_w2": _power_variance(running),
        "standby_power_w": _mean_power(standing_by),
        "standby_power_variance_w2": _power_variance(standing_by),
        "summary_id": _SUMMARY.c.id,
        "latest_trial_on": type_coerce(_SUMMARY.c.latest_trial_on, Text),
        "first_trial_on": type_coerce(_SUMMARY.c.first_trial_on, Text),
        "heterogeneous": type_coerce(_SUMMARY.c.heterogeneous, Integer),
        "measurable": type_coerce(_SUMMARY.c.measurable, Integer),
    }
    query = (
        select(*((columns[name] if name in columns else _SUMMARY.c[name]).label(name) for name in fields))
        .select_from(_UNIT)
        .outerjoin(_SETTING, of_unit)
        .outerjoin(
            _SUMMARY,
            and_(
                _SUMMARY.c.setting_id == _SETTING.c.id,
                _SUMMARY.c.channel == bindparam("channel"),
                _SUMMARY.c.aerosol == bindparam("aerosol"),
                _SUMMARY.c.room_id == bindparam("room_id"),
            ),
        )
        .order_by(_UNIT.c.maker, _UNIT.c.model, _SETTING.c.position)
    )
    return query.outerjoin(_PRICE, _PRICE.c.id == _latest_price()) if "price" in fields else query


@cache
def _query(
    which: Literal["on bench", "some", "one"],
    *,
    highest_only: bool = False,
    fields: tuple[str, ...] = RankingRow._fields,
) -> Select[Any]:
    """Of all units outside the trash, of those of them in `unit_ids`, or of `unit_id`, also in the trash."""
    of_unit = _SETTING.c.id == highest_setting_id() if highest_only else _SETTING.c.unit_under_test_id == _UNIT.c.id
    query = _build(fields, of_unit)
    if which == "one":
        return query.where(_UNIT.c.id == bindparam("unit_id"))
    query = query.where(_UNIT.c.trashed_at.is_(None))
    return query if which == "on bench" else query.where(_UNIT.c.id.in_(bindparam("unit_ids", expanding=True)))


_Row = TypeVar("_Row", RankingRow, IndexRow)


def read_ranking_rows(
    connection: Connection,
    choices: RankingChoices,
    currency: str,
    *,
    row: type[_Row],
    highest_only: bool = False,
    unit_ids: Collection[int] | None = None,
) -> list[_Row]:
    """All units outside the trash, or only `unit_ids`, one row per setting, sorted by maker, model and setting, with
    their results for the channel, aerosol and room of the choices.

    highest_only : only the highest setting of each unit
    """
    values = _values(choices, currency)
    query = _query("on bench" if unit_ids is None else "some", highest_only=highest_only, fields=row._fields)
    if unit_ids is not None:
        values["unit_ids"] = list(unit_ids)
    return [row._make(found) for found in connection.execute(query, values).all()]


def read_rows_of_unit(connection: Connection, unit_id: int, choices: RankingChoices, currency: str) -> list[RankingRow]:
    """The same for one unit, even if trashed."""
    values = {**_values(choices, currency), "unit_id": unit_id}
    return [RankingRow._make(found) for found in connection.execute(_query("one"), values).all()]


def _values(choices: RankingChoices, currency: str) -> dict[str, object]:
    return {
        "channel": choices.channel,
        "aerosol": choices.aerosol,
        "room_id": choices.room_id or 0,
        "currency": currency,
    }

"""The query behind the ranking: units and their settings with stored results, as plain rows.

It avoids ORM objects and keeps dates as text, so that a bench of a thousand units is read in a few
milliseconds. The two forms of the query are built once; other choices are bound parameters.
"""

import math
from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Integer, Select, Text, and_, bindparam, case, func, or_, select, type_coerce
from sqlalchemy.orm import Session

from app.services.snapshot.choices import RankingChoices
from app.services.snapshot.highest_setting import highest_setting_id
from app.storage.models.bench_measurements import PowerMeasurement
from app.storage.models.trials import SettingSummary
from app.storage.models.units_under_test import Price, SpeedSetting, UnitUnderTest


class RankingRow(NamedTuple):
    """One setting of one unit (or one unit without settings) with its summary; missing values are None.

    Names as in the tables. `price_on` and `latest_trial_on` are ISO days. A NamedTuple and not a
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
    power_uncertainty_w: float | None
    standby_power_w: float | None
    standby_power_uncertainty_w: float | None
    summary_id: int | None
    room_id: int | None
    trials: int | None
    usable_trials: int | None
    excluded_trials: int | None
    censored_trials: int | None
    latest_trial_id: int | None
    latest_trial_on: str | None
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


def _latest_price() -> ColumnElement[int]:
    """Id of the latest price in the bench's currency, or in any currency if there is none in it."""
    ours = case((Price.currency == bindparam("currency"), 0), else_=1)
    return (
        select(Price.id)
        .where(Price.unit_under_test_id == UnitUnderTest.id)
        .order_by(ours, Price.seen_on.desc(), Price.id.desc())
        .limit(1)
        .correlate(UnitUnderTest)
        .scalar_subquery()
    )


def _mean_power(of_setting: ColumnElement[bool]) -> ColumnElement[float | None]:
    """Mean over the repeats of one setting [W]."""
    return _of_power(func.avg(PowerMeasurement.power_w), of_setting)


def _power_variance(of_setting: ColumnElement[bool]) -> ColumnElement[float | None]:
    """Variance of that mean, as in `power_of_spot_readings`: s²/n of the repeats, plus the meter's, which repeats share
    [W²]. The root is taken in Python, because not every SQLite has it.
    """
    watts, readings = PowerMeasurement.power_w, func.count()
    of_repeats = (func.avg(watts * watts) - func.avg(watts) * func.avg(watts)) / (readings - 1.0)
    of_meter = func.avg(PowerMeasurement.uncertainty_w)
    return _of_power(of_meter * of_meter + case((readings > 1, of_repeats), else_=0.0), of_setting)


def _of_power(expression: ColumnElement[float], of_setting: ColumnElement[bool]) -> ColumnElement[float | None]:
    return (
        select(expression)
        .where(PowerMeasurement.unit_under_test_id == UnitUnderTest.id, of_setting)
        .correlate(UnitUnderTest, SpeedSetting)
        .scalar_subquery()
    )


def _build(of_unit: ColumnElement[bool]) -> Select[*tuple[object, ...]]:
    """The query, with the settings of a unit that `of_unit` joins to it."""
    running = PowerMeasurement.setting_id == SpeedSetting.id
    standing_by = PowerMeasurement.setting_id.is_(None)
    summary = SettingSummary
    return (
        select(
            UnitUnderTest.id,
            UnitUnderTest.maker,
            UnitUnderTest.model,
            UnitUnderTest.kind,
            type_coerce(UnitUnderTest.makes_ozone, Integer),
            UnitUnderTest.consumables_state,
            SpeedSetting.id,
            SpeedSetting.name,
            SpeedSetting.position,
            type_coerce(SpeedSetting.is_highest, Integer),
            Price.amount,
            Price.currency,
            type_coerce(Price.seen_on, Text),
            _mean_power(running),
            _power_variance(running),
            _mean_power(standing_by),
            _power_variance(standing_by),
            summary.id,
            summary.room_id,
            summary.trials,
            summary.usable_trials,
            summary.excluded_trials,
            summary.censored_trials,
            summary.latest_trial_id,
            type_coerce(summary.latest_trial_on, Text),
            summary.worst_severity,
            type_coerce(summary.heterogeneous, Integer),
            summary.between_trial_source,
            summary.pool_id,
            summary.total_decay_per_h,
            summary.total_decay_uncertainty_per_h,
            summary.clean_air_delivery_rate_m3_per_h,
            summary.clean_air_delivery_rate_uncertainty,
            summary.clean_air_delivery_rate_low_95,
            summary.clean_air_delivery_rate_high_95,
            type_coerce(summary.measurable, Integer),
            summary.at_most_m3_per_h,
            summary.standard_clearing_time_min,
            summary.standard_clearing_time_low_95_min,
            summary.standard_clearing_time_high_95_min,
            summary.time_to_clear_min,
            summary.time_to_clear_low_min,
            summary.time_to_clear_high_min,
            summary.not_cleared_before_min,
            summary.start_level_low,
            summary.start_level_high,
        )
        .select_from(UnitUnderTest)
        .outerjoin(SpeedSetting, of_unit)
        .outerjoin(
            summary,
            and_(
                summary.setting_id == SpeedSetting.id,
                summary.channel == bindparam("channel"),
                summary.aerosol == bindparam("aerosol"),
                summary.room_id == bindparam("room_id"),
            ),
        )
        .outerjoin(Price, Price.id == _latest_price())
        .where(
            or_(
                and_(bindparam("unit_id") == 0, UnitUnderTest.trashed_at.is_(None)),
                UnitUnderTest.id == bindparam("unit_id"),
            )
        )
        .order_by(UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.position)
    )


_EVERY_SETTING = _build(SpeedSetting.unit_under_test_id == UnitUnderTest.id)
_HIGHEST_SETTING = _build(SpeedSetting.id == highest_setting_id())
_NAMED = UnitUnderTest.id.in_(bindparam("unit_ids", expanding=True))
_EVERY_SETTING_OF_SOME, _HIGHEST_SETTING_OF_SOME = _EVERY_SETTING.where(_NAMED), _HIGHEST_SETTING.where(_NAMED)


def read_ranking_rows(
    session: Session,
    choices: RankingChoices,
    currency: str,
    *,
    highest_only: bool = False,
    unit_id: int = 0,
    unit_ids: Collection[int] | None = None,
) -> list[RankingRow]:
    """All units outside the trash, one row per setting, sorted by maker, model and setting, with their results
    for the channel, aerosol and room of the choices.

    `highest_only`: only the highest setting of each unit; `unit_id`: only this unit, even if trashed;
    `unit_ids`: only these.
    """
    values: dict[str, object] = {
        "channel": choices.channel,
        "aerosol": choices.aerosol,
        "room_id": choices.room_id or 0,
        "currency": currency,
        "unit_id": unit_id,
    }
    query = _HIGHEST_SETTING if highest_only else _EVERY_SETTING
    if unit_id:
        unit_ids = (unit_id,)  # use the index instead of a scan
    if unit_ids is not None:
        query = _HIGHEST_SETTING_OF_SOME if highest_only else _EVERY_SETTING_OF_SOME
        values["unit_ids"] = list(unit_ids)
    result = session.connection().execute(query, values)
    return [_row(found) for found in result.all()]


_VARIANCES = tuple(RankingRow._fields.index(name) for name in ("power_uncertainty_w", "standby_power_uncertainty_w"))


def _row(values: Sequence[Any]) -> RankingRow:
    """The driver's values with the roots of the variances; rounding below zero becomes zero."""
    found = list(values)
    for place in _VARIANCES:
        if (variance := found[place]) is not None:
            found[place] = math.sqrt(max(0.0, variance))
    return RankingRow._make(found)

"""Which rows of the store belong to a data package: those of the chosen units, and what their results need."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, or_, select, true
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.data_package.tables import packaged_columns
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.storage.models.all_models import METADATA
from app.storage.models.bench_measurements import PowerMeasurement
from app.storage.models.loggers import LoggerCheck
from app.storage.models.rooms import CheckUnit
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import Consumable, ConsumablePrice, SpeedSetting, UnitUnderTest


@dataclass(frozen=True, slots=True)
class Chosen:
    """Ids of the rows in the package. It includes every empty-room run of the bench, because their scatter is pooled
    over rooms, and the check units of the rooms; `whole` if all units are included.
    """

    whole: bool
    units: frozenset[int]
    trials: frozenset[int]
    logs: frozenset[int]
    results: frozenset[int]
    pools: frozenset[int]


def choose_rows(session: Session, unit_ids: Collection[int] | None) -> Chosen:
    present = set(session.scalars(select(UnitUnderTest.id).where(UnitUnderTest.trashed_at.is_(None))).all())
    for unit_id in sorted(set(unit_ids or ())):
        if unit_id not in present:
            raise NotFound("unit under test", unit_id)
    units = present if unit_ids is None else set(unit_ids)
    if units:
        units |= _check_units(session) & present
    if not units:
        raise InvalidValue(
            "There are no units to package. Add a trial first, or choose an existing unit.", field="unit"
        )
    rows = session.execute(
        select(Trial.id, Trial.log_id, Trial.unit_under_test_id).where(
            Trial.trashed_at.is_(None), or_(Trial.kind == EMPTY_ROOM, Trial.unit_under_test_id.is_not(None))
        )
    ).all()
    kept = [row for row in rows if row.unit_under_test_id is None or row.unit_under_test_id in units]
    trials = {row.id for row in kept}
    power_logs = session.execute(
        select(PowerMeasurement.log_id, PowerMeasurement.unit_under_test_id).where(PowerMeasurement.log_id.is_not(None))
    ).all()
    check_logs = session.execute(select(LoggerCheck.log_id, LoggerCheck.reference_log_id)).all()
    results = session.execute(select(ChannelResult.id, ChannelResult.trial_id, ChannelResult.pool_id)).all()
    in_package = [row for row in results if row.trial_id in trials]
    summaries = session.execute(select(SettingSummary.unit_under_test_id, SettingSummary.pool_id)).all()
    pools = {row.pool_id for row in in_package if row.pool_id is not None}
    pools |= {row.pool_id for row in summaries if row.unit_under_test_id in units and row.pool_id is not None}
    return Chosen(
        whole=units == present,
        units=frozenset(units),
        trials=frozenset(trials),
        logs=frozenset(
            {row.log_id for row in kept}
            | {row.log_id for row in power_logs if row[1] in units}
            | {log_id for row in check_logs for log_id in row if log_id is not None}
        ),
        results=frozenset(row.id for row in in_package),
        pools=frozenset(pools),
    )


def _check_units(session: Session) -> set[int]:
    """Units that check a room; the control charts need their runs."""
    marked = select(SpeedSetting.unit_under_test_id).join(CheckUnit, CheckUnit.setting_id == SpeedSetting.id)
    return set(session.scalars(marked).all())


def rows_of(name: str, chosen: Chosen) -> Select[Any]:
    table = METADATA.tables[name]
    statement = select(*packaged_columns(name)).order_by(*table.primary_key)
    keys = {
        "units_under_test": ("id", chosen.units),
        "trials": ("id", chosen.trials),
        "logs": ("id", chosen.logs),
        "log_channels": ("log_id", chosen.logs),
        "channel_results": ("id", chosen.results),
        "result_notes": ("result_id", chosen.results),
        "natural_decay_pools": ("id", chosen.pools),
        "natural_decay_pool_runs": ("pool_id", chosen.pools),
    }
    if name in keys:
        column, ids = keys[name]
        return statement.where(table.c[column].in_(sorted(ids)))
    if name == "consumable_prices":
        of_units = select(Consumable.id).where(Consumable.unit_under_test_id.in_(sorted(chosen.units)))
        return statement.where(ConsumablePrice.consumable_id.in_(of_units))
    if name == "check_units":
        of_settings = select(SpeedSetting.id).where(SpeedSetting.unit_under_test_id.in_(sorted(chosen.units)))
        return statement.where(CheckUnit.setting_id.in_(of_settings))
    belongs = table.c.get("unit_under_test_id")
    return statement.where(true() if belongs is None else belongs.in_(sorted(chosen.units)))

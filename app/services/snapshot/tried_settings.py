"""The settings with trials in a room; a check unit is one of them."""

from collections.abc import Collection
from functools import cache
from heapq import nsmallest
from typing import Any

from sqlalchemy import Select, bindparam, func, select

from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

_MOST_SETTINGS = 200  # offered in a form


def settings_in_room(snapshot: BenchSnapshot, room_id: int) -> tuple[tuple[int, str], ...]:
    """Id and name of the settings with trials in a room, those with most trials first."""
    units = snapshot.by_unit(_of_units, room_id).values()
    tried = nsmallest(_MOST_SETTINGS, (setting for settings in units for setting in settings))
    return tuple((setting_id, name) for _, setting_id, name in tried)


def _of_units(
    snapshot: BenchSnapshot, room_id: int, unit_ids: Collection[int] | None
) -> dict[int, list[tuple[int, int, str]]]:
    """By unit: less the number of trials, id and name of each setting."""
    query = _query() if unit_ids is None else _query().where(UnitUnderTest.id.in_(unit_ids))
    found: dict[int, list[tuple[int, int, str]]] = {}
    for unit_id, setting_id, maker, model, name, trials in snapshot.session.execute(query, {"room_id": room_id}):
        found.setdefault(unit_id, []).append((-trials, setting_id, f"{maker} {model}, {name}"))
    return found


@cache
def _query() -> Select[*tuple[Any, ...]]:
    return (
        select(UnitUnderTest.id, SpeedSetting.id, UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.name)
        .add_columns(func.count())
        .join(SpeedSetting, SpeedSetting.unit_under_test_id == UnitUnderTest.id)
        .join(Trial, Trial.setting_id == SpeedSetting.id)
        .where(
            Trial.room_id == bindparam("room_id"),
            Trial.kind == UNIT_RUNNING,
            Trial.trashed_at.is_(None),
            UnitUnderTest.trashed_at.is_(None),
        )
        .group_by(UnitUnderTest.id, SpeedSetting.id)
    )

"""Spread of the check unit of a room, which enters the intervals of the other trials there."""

from collections import defaultdict
from functools import cache

from sqlalchemy import Exists, exists, select
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability, pooled_repeatability
from app.services.results.control_charts.key import ChartKey
from app.services.results.control_charts.runs import check_runs
from app.storage.models.rooms import CheckUnit
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import SpeedSetting

# Fewer runs say little about weeks and seasons. Common practice, no source.
FEWEST_CHECK_RUNS = 4


class CheckUnitSpreads:
    """The spread by room, channel and aerosol, read when first asked for."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._found: dict[ChartKey, Repeatability] | None = None

    def of(self, key: ChartKey) -> Repeatability | None:
        """Relative spread between the check unit's runs, beyond their own uncertainties; None with too few runs.

        The assumed spread between repeats, updated by these runs: each check unit has a mean of its own.
        """
        if self._found is None:
            self._found = _spreads(self._session)
        return self._found.get(key)


def _spreads(session: Session) -> dict[ChartKey, Repeatability]:
    found = {}
    for key, runs in check_runs(session).items():
        if len(runs) < FEWEST_CHECK_RUNS:
            continue
        groups: dict[int, list[Measured]] = defaultdict(list)
        for run in runs:
            groups[run.mark_id].append(run.total_decay)
        found[key] = pooled_repeatability(list(groups.values()), ASSUMED_BETWEEN_TRIALS, "check unit").in_steps()
    return found


@cache
def is_check_run() -> Exists:
    """Of a trial in a query: whether it may be a run of a check unit, so that other trials follow it."""
    return exists().where(CheckUnit.room_id == Trial.room_id, CheckUnit.setting_id == Trial.setting_id)


def rooms_checked_by_unit(session: Session, unit_id: int) -> list[int]:
    """Rooms of which a unit is or was the check unit."""
    marked = select(CheckUnit.room_id).join(SpeedSetting, SpeedSetting.id == CheckUnit.setting_id).distinct()
    return list(session.scalars(marked.where(SpeedSetting.unit_under_test_id == unit_id)))

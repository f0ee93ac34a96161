"""What the natural decay of a room will be known to, with empty-room runs that are still to come."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.compute.clean_air.natural_decay import EmptyRoomRun, nearest_runs, pool_natural_decay
from app.compute.clean_air.room_history import LevelsOnDays, RunsOfRooms, levels_on_days
from app.compute.planning.trial_variance import ASSURANCE
from app.compute.signal.noise import Floats
from app.compute.statistics.measured import Measured
from app.compute.statistics.mixture import measured_of_mixtures
from app.compute.statistics.repeatability import Repeatability, variance_of

# Simulated rooms with three to six runs so far and two to six further ones; none where no run is added.
_LEARNED = 0.7


@dataclass(frozen=True, slots=True)
class LevelAhead:
    """Natural decay of one week as it will be known. [1/h]

    expected : value that the present runs suggest, with the expected uncertainty
    assured_uncertainty : not exceeded for a share `ASSURANCE` of the spreads and drifts that the runs so far leave
    """

    expected: Measured
    assured_uncertainty: float


@dataclass(frozen=True, slots=True)
class RoomAhead:
    """Natural decay of a room by number of further empty-room runs, from none on.

    so_far : of the week that the trials so far belong to; campaign : of the trials of a campaign
    """

    so_far: tuple[LevelAhead, ...]
    campaign: tuple[LevelAhead, ...]

    @property
    def most_runs(self) -> int:
        return len(self.campaign) - 1


@dataclass(frozen=True, slots=True)
class FurtherRuns:
    """Up to `most` empty-room runs, spread evenly over the days, each with this uncertainty of its fit [1/h]."""

    days: tuple[float, float]
    uncertainty_per_h: float
    most: int

    def on_days(self, number: int) -> Floats:
        first, last = self.days
        found: Floats = np.linspace(first, last, number) if number > 1 else np.full(number, (first + last) / 2)
        return found


def levels_ahead(
    runs: Sequence[EmptyRoomRun], between_runs: Repeatability, day: float, further: FurtherRuns
) -> tuple[LevelAhead, ...]:
    """Natural decay of a day with 0, 1, 2, ... further runs; what is known of spread and drift stays as it is.

    runs : at least one; of many, those nearest to the day are used
    """
    used = nearest_runs(runs, day)
    likely = _levels(used, between_runs, day).likely
    found = []
    for more in range(further.most + 1):
        # a further run is expected to find what the runs so far suggest
        new = [
            EmptyRoomRun(0, Measured(_expected(used, between_runs, at), further.uncertainty_per_h), at)
            for at in further.on_days(more).tolist()
        ]
        levels = _levels(sorted([*used, *new], key=lambda run: run.day), between_runs, day)
        found.append(_level(likely, levels, _LEARNED if more else 0.0))
    return tuple(found)


def _levels(runs: Sequence[EmptyRoomRun], between_runs: Repeatability, day: float) -> LevelsOnDays:
    rates = [run.decay_rate for run in runs]
    of_room = RunsOfRooms(
        np.array([[run.day for run in runs]]),
        np.array([[rate.value for rate in rates]]),
        np.array([[variance_of(rate.uncertainty, rate.degrees_of_freedom).mean for rate in rates]]),
    )
    return levels_on_days(np.array([day]), of_room, [between_runs])


def _expected(runs: Sequence[EmptyRoomRun], between_runs: Repeatability, day: float) -> float:
    levels = _levels(runs, between_runs, day)
    return float((levels.likely * levels.means).sum())


def _level(likely: Floats, levels: LevelsOnDays, learned: float) -> LevelAhead:
    """The level on a day. Further runs move what is known of spread and drift towards the truth; `learned` is the share
    of the way to those truths, of the ones likely now, that are wider than `ASSURANCE` of them.
    """
    order = np.argsort(levels.deviations[0])
    place = int(np.searchsorted(np.cumsum(likely[0][order]), ASSURANCE))
    wide = float(levels.deviations[0][order][min(place, order.size - 1)])
    (expected,) = measured_of_mixtures(likely, levels.means, levels.deviations)
    above = max(wide**2 - expected.uncertainty**2, 0.0)
    return LevelAhead(expected, math.sqrt(expected.uncertainty**2 + learned * above))


def scaled_levels(so_far: Measured, levels: Sequence[LevelAhead]) -> tuple[LevelAhead, ...]:
    """The levels with the uncertainty that the trials so far have, reduced as further runs reduce that of the model."""
    now = levels[0].expected.uncertainty
    found = []
    for level in levels:
        share = min(level.expected.uncertainty / now, 1.0)
        wide = max(min(level.assured_uncertainty / now, 1.0), share)
        expected = Measured(so_far.value, so_far.uncertainty * share, so_far.degrees_of_freedom)
        found.append(LevelAhead(expected, so_far.uncertainty * wide))
    return tuple(found)


def uncertainty_growth(
    runs: Sequence[EmptyRoomRun], between_runs: Repeatability, days_later: float
) -> tuple[float, float]:
    """Standard uncertainty of the natural decay on the day of the last run, and some days later [1/h]."""
    last = max(run.day for run in runs)
    on_day, later = (pool_natural_decay(runs, day=day, between_runs=between_runs) for day in (last, last + days_later))
    return on_day.natural_decay.uncertainty, later.natural_decay.uncertainty

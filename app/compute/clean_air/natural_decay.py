"""Natural decay of a room on a given day, from its empty-room runs."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.clean_air.room_history import LevelsOnDays, RunsOfRooms, levels_on_days
from app.compute.statistics.measured import Measured
from app.compute.statistics.mixture import measured_of_mixtures
from app.compute.statistics.random_effects import heterogeneity
from app.compute.statistics.repeatability import Repeatability, variance_of

Floats = NDArray[np.float64]

METHOD = "local level model: random walk between days, spread and step size averaged over their likelihood"

# From this many runs on, the runs decide more about the spread between days than the assumption does.
FEWEST_RUNS_THAT_SPEAK_FOR_THEMSELVES = 3
# More runs than these, the nearest in time, do not narrow the result noticeably.
MOST_RUNS = 24
_AT_ONCE = 32  # days in one pass of the filter: their arrays then stay in the processor's cache

# Wind, temperature and doors change a room from day to day. Common practice, no source; every result that depends on it
# says so.
ASSUMED_BETWEEN_RUNS = Repeatability(
    relative_sd=0.25,
    degrees_of_freedom=5.0,
    groups=0,
    trials=0,
    source="assumed 25 % between days (common practice, no source)",
)


@dataclass(frozen=True, slots=True)
class EmptyRoomRun:
    """One run with no unit running.

    run_id : the trial, listed in the results that use it
    decay_rate : [1/h]
    day : number of the day on any calendar that counts days; only differences are used [d]
    relative_humidity_pct : mean over the run [%], None where it was not logged
    start_level : level at the start of the decay, in the unit of the channel
    """

    run_id: int
    decay_rate: Measured
    day: float
    relative_humidity_pct: float | None = None
    start_level: float | None = None


@dataclass(frozen=True, slots=True)
class NaturalDecay:
    """Natural decay of one room and channel on one day. [1/h]

    natural_decay : the room's level on that day, for a quantity averaged over runs of about that time
    on_one_day : the same value with the spread between days included, for the result of a single trial
    between_run_sd_per_h : standard deviation between runs of one time beyond the uncertainties of the fits
    drift_sd_per_month : random walk of the level in thirty days, standard deviation
    between_run_source : "these runs", or where the spread comes from
    run_ids, weights : which runs, and the share of each, in the same order
    first_day, last_day : of the runs [d]
    heterogeneity_p : chi-square probability that the runs differ by no more than their fits allow; 1 for one run
    """

    natural_decay: Measured
    on_one_day: Measured
    between_run_sd_per_h: float
    drift_sd_per_month: float
    between_run_source: str
    run_ids: tuple[int, ...]
    weights: tuple[float, ...]
    first_day: float
    last_day: float
    heterogeneity_p: float
    method: str = METHOD

    @property
    def number_of_runs(self) -> int:
        return len(self.run_ids)


def pool_natural_decay(
    runs: Sequence[EmptyRoomRun], *, day: float, between_runs: Repeatability = ASSUMED_BETWEEN_RUNS
) -> NaturalDecay:
    r"""Natural decay on one day, from empty-room runs on other days.

    .. math:: k_i = m(t_i) + e_i + \epsilon_i, \qquad m(t) - m(t') \sim N(0,\ \omega^2 |t-t'|)

    Parameters
    ----------
    runs : of one room and channel, at least one
    day : of the result, on the calendar of the runs [d]
    between_runs : relative spread τ of the daily deviations e, from other rooms of the bench, or assumed; the runs
        themselves update it

    Returns
    -------
    The level m on that day, interpolated between the runs around it, less certain the further they are: the best linear
    unbiased estimate for each spread τ and step size ω (`levels_on_days`), averaged over both with their restricted
    likelihood and the assumptions. One run gives its own value, with the assumed spread and drift. Of more than
    `MOST_RUNS`, those nearest to the day are used.

    Raises
    ------
    ValueError if there is no run, or if a run's uncertainty is not above zero.

    >>> day_1 = EmptyRoomRun(11, Measured(0.50, 0.02, 30), day=1.0)
    >>> day_9 = EmptyRoomRun(13, Measured(0.54, 0.02, 30), day=9.0)
    >>> near, far = (pool_natural_decay([day_1, day_9], day=day).natural_decay for day in (5.0, 60.0))
    >>> round(near.value, 2), far.high_95 > near.high_95
    (0.52, True)
    >>> pool_natural_decay([day_1], day=1.0).between_run_source
    'assumed 25 % between days (common practice, no source)'
    """
    (found,) = pool_natural_decays([DayAsked(day, nearest_runs(runs, day), between_runs)])
    return found


def nearest_runs(runs: Sequence[EmptyRoomRun], day: float) -> tuple[EmptyRoomRun, ...]:
    """The `MOST_RUNS` nearest to a day, in order of their days. Which of two at the same distance does not depend on
    the order in which they were added."""
    chosen = sorted(runs, key=lambda run: (abs(run.day - day), *_content(run)))[:MOST_RUNS]
    return tuple(sorted(chosen, key=_content))


def _content(run: EmptyRoomRun) -> tuple[float, float, float, int]:
    return run.day, run.decay_rate.value, run.decay_rate.uncertainty, run.run_id


@dataclass(frozen=True, slots=True)
class DayAsked:
    """A day on which the natural decay is asked for, its runs (`nearest_runs`), and the spread in other rooms."""

    day: float
    runs: tuple[EmptyRoomRun, ...]
    between_runs: Repeatability = ASSUMED_BETWEEN_RUNS


def pool_natural_decays(asked: Sequence[DayAsked]) -> list[NaturalDecay]:
    """`pool_natural_decay` on many days, in their order; a day's result does not depend on the others."""
    by_number: dict[int, list[int]] = defaultdict(list)
    for place, one in enumerate(asked):
        _check(one.runs)
        by_number[len(one.runs)].append(place)
    found: dict[int, NaturalDecay] = {}
    for places in by_number.values():
        for start in range(0, len(places), _AT_ONCE):
            some = places[start : start + _AT_ONCE]
            found |= zip(some, _pooled([asked[place] for place in some]), strict=True)
    return [found[place] for place in range(len(asked))]


def _check(runs: Sequence[EmptyRoomRun]) -> None:
    if not runs:
        raise ValueError("The natural decay needs at least one empty-room run and found none.")
    for run in runs:
        if not run.decay_rate.uncertainty > 0:
            raise ValueError(
                f"Empty-room run {run.run_id} has the uncertainty {run.decay_rate.uncertainty} per hour; it must be "
                "above zero."
            )


def _pooled(asked: Sequence[DayAsked]) -> list[NaturalDecay]:
    """Days with the same number of runs."""
    rates = [[run.decay_rate for run in one.runs] for one in asked]
    runs = RunsOfRooms(
        np.array([[run.day for run in one.runs] for one in asked]),
        np.array([[rate.value for rate in row] for row in rates]),
        np.array([[variance_of(rate.uncertainty, rate.degrees_of_freedom).mean for rate in row] for row in rates]),
    )
    levels = levels_on_days(np.array([one.day for one in asked]), runs, [one.between_runs for one in asked])
    natural = measured_of_mixtures(levels.likely, levels.means, levels.deviations)
    one_day = measured_of_mixtures(levels.likely, levels.means, np.hypot(levels.deviations, levels.spreads))
    return [_described(one, natural[place], one_day[place], levels, place) for place, one in enumerate(asked)]


def _described(asked: DayAsked, natural: Measured, one_day: Measured, levels: LevelsOnDays, place: int) -> NaturalDecay:
    likely, used = levels.likely[place], asked.runs
    own = len(used) >= FEWEST_RUNS_THAT_SPEAK_FOR_THEMSELVES
    values = [run.decay_rate.value for run in used]
    uncertainties = [run.decay_rate.uncertainty for run in used]
    return NaturalDecay(
        natural_decay=natural,
        on_one_day=one_day,
        between_run_sd_per_h=float(np.sqrt((likely * levels.spreads[place] ** 2).sum())),
        drift_sd_per_month=float(np.sqrt((likely * levels.drifts[place] ** 2).sum())),
        between_run_source="these runs" if own else asked.between_runs.source,
        run_ids=tuple(run.run_id for run in used),
        weights=tuple(levels.weights[place].tolist()),
        first_day=min(run.day for run in used),
        last_day=max(run.day for run in used),
        heterogeneity_p=heterogeneity(values, uncertainties)[1] if len(used) > 1 else 1.0,
    )

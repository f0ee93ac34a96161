"""Chooses the empty-room runs for a trial: close in time, at similar humidity, from a similar start level."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.compute.clean_air.natural_decay import EmptyRoomRun
from app.compute.wording.notes import Note

Floats = NDArray[np.float64]

# Optical readings rise with humidity, and coagulation with the level, so a decay under other conditions differs. Both
# limits are common practice without a source; they are arguments, so callers can change them.
HUMIDITY_LIMIT_PCT = 15.0
START_LEVEL_FACTOR_LIMIT = 3.0
# Further from the nearest run the result depends on the assumed drift of the room. Common practice, no source.
FAR_IN_TIME_DAYS = 14.0

NAMED = 3  # excluded runs that are named; the others are counted
_CELLS_AT_ONCE = 1_000_000  # trials times runs


@dataclass(frozen=True, slots=True)
class LeftOutRun:
    """A run that was not used. `code`: `other_humidity` or `other_start_level`."""

    run_id: int
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class ChosenRuns:
    """The runs to pool, the excluded runs with the reason for each, and notes about the choice.

    unlike : runs near in time, but excluded because of humidity or start level: the first `NAMED`
    number_unlike : how many there are
    """

    chosen: tuple[EmptyRoomRun, ...]
    unlike: tuple[LeftOutRun, ...]
    number_unlike: int
    notes: tuple[Note, ...]
    stale: bool


class TrialConditions(NamedTuple):
    """What the choice depends on.

    day : of the trial, on the calendar of the runs [d]
    relative_humidity_pct, start_level : None leaves the check out, as it does for a run without them
    """

    day: float
    relative_humidity_pct: float | None = None
    start_level: float | None = None


@dataclass(frozen=True, slots=True)
class Limits:
    """stale_after_days : runs further away in time, before or after, are left out [d]
    humidity_pct : largest difference in relative humidity [percentage points]
    start_level_factor : largest ratio of start levels, either way
    """

    stale_after_days: float
    humidity_pct: float = HUMIDITY_LIMIT_PCT
    start_level_factor: float = START_LEVEL_FACTOR_LIMIT

    def __post_init__(self) -> None:
        if not self.stale_after_days > 0:
            raise ValueError(f"Runs go stale after {self.stale_after_days} days; the number must be above zero.")
        if not self.humidity_pct > 0:
            raise ValueError(f"The humidity limit is {self.humidity_pct} percentage points; it must be above zero.")
        if not self.start_level_factor >= 1:
            raise ValueError(f"The start level factor is {self.start_level_factor}; it must be 1 or above.")


def choose_runs(
    runs: Sequence[EmptyRoomRun], trials: Sequence[TrialConditions], limits: Limits
) -> Iterator[ChosenRuns]:
    """Empty-room runs of one room and channel that can be used for each of some trials.

    Yields
    ------
    The runs within all limits. A limit that no run would pass is lifted, with a note: an old or dissimilar run,
    marked as such, is better than none. Where only runs outside the dates exist, the runs of the nearest day are used
    and `stale` is true. With no run at all the choice is empty, with a note.

    >>> from app.compute.statistics.measured import Measured
    >>> runs = [EmptyRoomRun(1, Measured(0.5, 0.02), day=10), EmptyRoomRun(2, Measured(0.6, 0.02), day=300)]
    >>> (choice,) = choose_runs(runs, [TrialConditions(day=20)], Limits(stale_after_days=180))
    >>> [run.run_id for run in choice.chosen]
    [1]
    """
    if not runs:
        yield from [ChosenRuns((), (), 0, (_missing(),), stale=False)] * len(trials)
        return
    shared: dict[bytes, tuple[EmptyRoomRun, ...]] = {}
    plain: dict[bytes, ChosenRuns] = {}  # without notes, and so alike for all trials with the same runs
    at_once = max(1, _CELLS_AT_ONCE // len(runs))
    for start in range(0, len(trials), at_once):
        judged = _judged(runs, trials[start : start + at_once], limits)
        for place in range(len(trials[start : start + at_once])):
            used = judged.used[place]
            name = used.tobytes()
            if name not in shared:
                shared[name] = tuple(run for run, use in zip(runs, used.tolist(), strict=True) if use)
            choice = plain.get(name) if judged.plain[place] else None
            if choice is None:
                choice = _choice(shared[name], runs, judged, place, limits)
                if judged.plain[place]:
                    plain[name] = choice
            yield choice


@dataclass(frozen=True, slots=True, eq=False)
class _Apart:
    """Differences in one condition, trials (rows) against runs (columns): the runs that are excluded for it, and for
    each trial the smallest difference among the runs near in time."""

    apart: Floats
    excluded: NDArray[np.bool_]
    least: Floats

    @classmethod
    def of(cls, apart: Floats, used: NDArray[np.bool_], limit: float) -> "_Apart":
        """Where all runs in use are beyond the limit, none is excluded."""
        least = np.where(used, apart, np.inf).min(axis=1)
        return cls(apart, used & (apart > limit) & (least <= limit)[:, None], least)


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """Trials (rows) against runs (columns); of each trial the number of runs near in time but excluded, how far the
    nearest run used is, and whether there is nothing to note."""

    used: NDArray[np.bool_]
    humidity: _Apart
    level: _Apart
    unlike: list[int]
    reach: list[float]
    plain: list[bool]


def _judged(runs: Sequence[EmptyRoomRun], trials: Sequence[TrialConditions], limits: Limits) -> _Judged:
    distance = np.abs(np.array([run.day for run in runs]) - np.array([trial.day for trial in trials])[:, None])
    used = distance <= np.maximum(distance.min(axis=1), limits.stale_after_days)[:, None]
    near = used.sum(axis=1)
    of_runs, of_trials = (_numbers([one.relative_humidity_pct for one in some]) for some in (runs, trials))
    apart = np.abs(of_runs - of_trials[:, None])
    humidity = _Apart.of(np.where(np.isnan(apart), 0.0, apart), used, limits.humidity_pct)
    used = used & ~humidity.excluded
    of_runs, of_trials = (_positive([one.start_level for one in some]) for some in (runs, trials))
    ratio = of_runs / of_trials[:, None]
    ratio = np.where(np.isnan(ratio), 1.0, np.maximum(ratio, 1.0 / ratio))
    level = _Apart.of(ratio, used, limits.start_level_factor)
    used = used & ~level.excluded
    reach = np.where(used, distance, np.inf).min(axis=1)
    unlike = near - used.sum(axis=1)
    plain = (reach <= min(FAR_IN_TIME_DAYS, limits.stale_after_days)) & (unlike == 0) & (used.sum(axis=1) > 1)
    plain &= (humidity.least <= limits.humidity_pct) & (level.least <= limits.start_level_factor)
    return _Judged(used, humidity, level, unlike.tolist(), reach.tolist(), plain.tolist())


def _numbers(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values])


def _positive(values: Sequence[float | None]) -> Floats:
    return np.array([value if value is not None and value > 0 else np.nan for value in values])


def _choice(
    chosen: tuple[EmptyRoomRun, ...], runs: Sequence[EmptyRoomRun], judged: _Judged, place: int, limits: Limits
) -> ChosenRuns:
    notes: list[Note] = []
    stale = judged.reach[place] > limits.stale_after_days
    if stale:
        notes.append(_stale(judged.reach[place], limits.stale_after_days))
    humidity, level = float(judged.humidity.least[place]), float(judged.level.least[place])
    if humidity > limits.humidity_pct:
        notes.append(_other_humidity(humidity, limits.humidity_pct))
    if level > limits.start_level_factor:
        notes.append(_other_start_level(level, limits.start_level_factor))
    if not stale:
        notes += _few_or_far(len(chosen), judged.reach[place])
    unlike = _named(runs, judged, place, limits) if judged.unlike[place] else ()
    return ChosenRuns(chosen, unlike, judged.unlike[place], tuple(notes), stale)


def _named(runs: Sequence[EmptyRoomRun], judged: _Judged, place: int, limits: Limits) -> tuple[LeftOutRun, ...]:
    """The first excluded runs with the reason for each: first those at another humidity."""
    humid, dense = (np.flatnonzero(one.excluded[place])[:NAMED] for one in (judged.humidity, judged.level))
    found = [
        LeftOutRun(
            runs[at].run_id,
            "other_humidity",
            f"{judged.humidity.apart[place, at]:.0f} percentage points of humidity from the trial; the limit is "
            f"{limits.humidity_pct:g}",
        )
        for at in humid.tolist()
    ]
    found += [
        LeftOutRun(
            runs[at].run_id,
            "other_start_level",
            f"start level differs from the trial's by a factor of {judged.level.apart[place, at]:.1f}; the limit is "
            f"{limits.start_level_factor:g}",
        )
        for at in dense.tolist()
    ]
    return tuple(found[:NAMED])


def _stale(reach: float, limit: float) -> Note:
    return Note(
        code="natural_decay_stale",
        severity="care",
        message=f"The closest empty-room run is {reach:.0f} days from the trial; the limit is {limit:g} days. "
        "The room may have changed since. Do a new empty-room run.",
        value=reach,
        limit=limit,
        unit="d",
    )


def _other_humidity(nearest: float, limit: float) -> Note:
    return Note(
        code="natural_decay_other_humidity",
        severity="care",
        message=f"Every empty-room run differs from the trial by {nearest:.0f} percentage points of humidity "
        f"or more; the limit is {limit:g}. Optical readings depend on humidity. Do an empty-room run "
        "at the humidity of the trial.",
        value=nearest,
        limit=limit,
        unit="%",
    )


def _other_start_level(nearest: float, limit: float) -> Note:
    return Note(
        code="natural_decay_other_start_level",
        severity="care",
        message=f"Every empty-room run started at a level at least {nearest:.1f} times above or below the "
        f"trial's; the limit is {limit:g}. Particles settle and coagulate faster in dense smoke. Do "
        "an empty-room run from a similar level.",
        value=nearest,
        limit=limit,
        unit="times",
    )


def _few_or_far(number: int, nearest: float) -> list[Note]:
    """Notes on a natural decay that depends on assumptions more than on runs."""
    notes = []
    if nearest > FAR_IN_TIME_DAYS:
        notes.append(
            Note(
                code="natural_decay_far_in_time",
                severity="care",
                message=f"The closest empty-room run is {nearest:.0f} days from the trial. How much the room changed "
                "since is assumed, and the interval is wider for it. Do an empty-room run within "
                f"{FAR_IN_TIME_DAYS:.0f} days.",
                value=nearest,
                limit=FAR_IN_TIME_DAYS,
                unit="d",
            )
        )
    if number == 1:
        notes.append(
            Note(
                code="natural_decay_single_run",
                severity="fine",
                message="Only one empty-room run serves this trial, so the spread of the natural decay between days is "
                "assumed. Do empty-room runs on two more days.",
                value=1.0,
            )
        )
    return notes


def _missing() -> Note:
    return Note(
        code="natural_decay_missing",
        severity="care",
        message="This room, channel and aerosol have no empty-room run, so the clean air delivery rate is not known; "
        "only the total decay is given. Do an empty-room run in the same room.",
    )

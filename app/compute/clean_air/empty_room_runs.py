"""Chooses the empty-room runs for a trial: close in time, at similar humidity, from a similar start level."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.compute.clean_air.natural_decay import EmptyRoomRun
from app.compute.wording.notes import Note

# Optical readings rise with humidity, and coagulation with the level, so a decay under other conditions differs. Both
# limits are common practice without a source; they are arguments, so callers can change them.
HUMIDITY_LIMIT_PCT = 15.0
START_LEVEL_FACTOR_LIMIT = 3.0
# Further from the nearest run the result depends on the assumed drift of the room. Common practice, no source.
FAR_IN_TIME_DAYS = 14.0


@dataclass(frozen=True, slots=True)
class LeftOutRun:
    """A run that was not used. `code`: `outside_dates`, `other_humidity` or `other_start_level`."""

    run_id: int
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class ChosenRuns:
    """The runs to pool, the excluded runs with the reason for each, and notes about the choice."""

    chosen: tuple[EmptyRoomRun, ...]
    left_out: tuple[LeftOutRun, ...]
    notes: tuple[Note, ...]
    stale: bool


def choose_runs(
    runs: Sequence[EmptyRoomRun],
    *,
    day: float,
    stale_after_days: float,
    relative_humidity_pct: float | None = None,
    start_level: float | None = None,
    humidity_limit_pct: float = HUMIDITY_LIMIT_PCT,
    start_level_factor_limit: float = START_LEVEL_FACTOR_LIMIT,
) -> ChosenRuns:
    """Empty-room runs of the same room and channel that can be used for a trial of a given day.

    Parameters
    ----------
    runs : of one room and channel
    day : of the trial, on the calendar of the runs [d]
    stale_after_days : runs further away in time, before or after, are left out [d]
    relative_humidity_pct, start_level : of the trial; None leaves the check out, as it does for a run without them
    humidity_limit_pct : largest difference in relative humidity [percentage points]
    start_level_factor_limit : largest ratio of start levels, either way

    Returns
    -------
    The runs within all limits. A limit that no run would pass is lifted, with a note: an old or dissimilar run,
    marked as such, is better than none. Where only runs outside the dates exist, the runs of the nearest day are used
    and `stale` is true. With no run at all the choice is empty, with a note.

    Raises
    ------
    ValueError if a limit is not above zero, or the factor is below one.

    >>> from app.compute.statistics.measured import Measured
    >>> runs = [EmptyRoomRun(1, Measured(0.5, 0.02), day=10), EmptyRoomRun(2, Measured(0.6, 0.02), day=300)]
    >>> choice = choose_runs(runs, day=20, stale_after_days=180)
    >>> [run.run_id for run in choice.chosen], choice.left_out[0].reason
    ([1], '280 days from the trial; the limit is 180 days')
    """
    if not stale_after_days > 0:
        raise ValueError(f"Runs go stale after {stale_after_days} days; the number must be above zero.")
    if not humidity_limit_pct > 0:
        raise ValueError(f"The humidity limit is {humidity_limit_pct} percentage points; it must be above zero.")
    if not start_level_factor_limit >= 1:
        raise ValueError(f"The start level factor is {start_level_factor_limit}; it must be 1 or above.")
    if not runs:
        return ChosenRuns((), (), (_missing(),), stale=False)
    left_out: list[LeftOutRun] = []
    notes: list[Note] = []
    chosen, stale = _near_in_time(runs, day, stale_after_days, left_out, notes)
    if relative_humidity_pct is not None:
        chosen = _alike_in_humidity(chosen, relative_humidity_pct, humidity_limit_pct, left_out, notes)
    if start_level is not None and start_level > 0:
        chosen = _alike_in_start_level(chosen, start_level, start_level_factor_limit, left_out, notes)
    if not stale:
        notes += _few_or_far(chosen, day)
    return ChosenRuns(tuple(chosen), tuple(left_out), tuple(notes), stale)


def _near_in_time(
    runs: Sequence[EmptyRoomRun], day: float, limit: float, left_out: list[LeftOutRun], notes: list[Note]
) -> tuple[list[EmptyRoomRun], bool]:
    distance = {run.run_id: abs(run.day - day) for run in runs}
    reach = min(distance.values())
    stale = reach > limit
    allowed = reach if stale else limit
    for run in runs:
        if distance[run.run_id] > allowed:
            reason = f"{distance[run.run_id]:.0f} days from the trial; the limit is {limit:g} days"
            left_out.append(LeftOutRun(run.run_id, "outside_dates", reason))
    if stale:
        notes.append(
            Note(
                code="natural_decay_stale",
                severity="care",
                message=f"The closest empty-room run is {reach:.0f} days from the trial; the limit is {limit:g} days. "
                "The room may have changed since. Do a new empty-room run.",
                value=reach,
                limit=limit,
                unit="d",
            )
        )
    return [run for run in runs if distance[run.run_id] <= allowed], stale


def _alike_in_humidity(
    runs: list[EmptyRoomRun], humidity: float, limit: float, left_out: list[LeftOutRun], notes: list[Note]
) -> list[EmptyRoomRun]:
    apart = {
        r.run_id: abs(r.relative_humidity_pct - humidity) if r.relative_humidity_pct is not None else 0.0 for r in runs
    }
    nearest = min(apart.values())
    if nearest > limit:
        notes.append(
            Note(
                code="natural_decay_other_humidity",
                severity="care",
                message=f"Every empty-room run differs from the trial by {nearest:.0f} percentage points of humidity "
                f"or more; the limit is {limit:g}. Optical readings depend on humidity. Do an empty-room run "
                "at the humidity of the trial.",
                value=nearest,
                limit=limit,
                unit="%",
            )
        )
        return runs
    return _within(
        runs, apart, limit, "other_humidity", "{:.0f} percentage points of humidity from the trial", left_out
    )


def _alike_in_start_level(
    runs: list[EmptyRoomRun], level: float, limit: float, left_out: list[LeftOutRun], notes: list[Note]
) -> list[EmptyRoomRun]:
    factor = {
        r.run_id: max(r.start_level / level, level / r.start_level) if r.start_level and r.start_level > 0 else 1.0
        for r in runs
    }
    nearest = min(factor.values())
    if nearest > limit:
        notes.append(
            Note(
                code="natural_decay_other_start_level",
                severity="care",
                message=f"Every empty-room run started at a level at least {nearest:.1f} times above or below the "
                f"trial's; the limit is {limit:g}. Particles settle and coagulate faster in dense smoke. Do "
                "an empty-room run from a similar level.",
                value=nearest,
                limit=limit,
                unit="times",
            )
        )
        return runs
    words = "start level differs from the trial's by a factor of {:.1f}"
    return _within(runs, factor, limit, "other_start_level", words, left_out)


def _within(
    runs: list[EmptyRoomRun], apart: dict[int, float], limit: float, kind: str, words: str, left_out: list[LeftOutRun]
) -> list[EmptyRoomRun]:
    """The runs within the limit; the others are left out with the reason."""
    for run in runs:
        if apart[run.run_id] > limit:
            left_out.append(LeftOutRun(run.run_id, kind, f"{words.format(apart[run.run_id])}; the limit is {limit:g}"))
    return [run for run in runs if apart[run.run_id] <= limit]


def _few_or_far(chosen: Sequence[EmptyRoomRun], day: float) -> list[Note]:
    """Notes on a natural decay that rests on assumptions more than on runs."""
    notes = []
    nearest = min(abs(run.day - day) for run in chosen)
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
    if len(chosen) == 1:
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
        message="This room and channel have no empty-room run, so the clean air delivery rate is not known; only the "
        "total decay is given. Do an empty-room run in the same room.",
    )

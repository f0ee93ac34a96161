"""Puts the runs of a campaign in order over days: empty-room runs bracket the trials, and their order is random."""

import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import count

EMPTY_ROOM = None
MOST_DAYS = 400
Chance = Callable[[], float]


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """One run: day and place of the day, both from one, and its setting, or None for an empty room."""

    day: int
    place: int
    setting: int | None


def campaign(trials: Mapping[int, int], empty_runs: int, *, runs_a_day: int, seed: int) -> tuple[PlannedRun, ...]:
    """The runs in their order, the same for the same arguments.

    The first and the last run are in the empty room, the other empty-room runs lie evenly between them. Repeats of a
    setting are on different days, so that each has the deviation of a day of its own, as the spread between trials
    assumes. Days and the order of a day are random, so that a drift of room or logger favours no unit.

    trials : number of trials by setting

    Raises ValueError for less than one run a day, or a campaign of more than `MOST_DAYS` days.

    >>> [(run.day, run.setting) for run in campaign({7: 2}, 2, runs_a_day=2, seed=1)]
    [(1, None), (1, 7), (2, 7), (2, None)]
    """
    if runs_a_day < 1:
        raise ValueError(f"A day has {runs_a_day} runs; it needs at least one.")
    wanted = {setting: number for setting, number in sorted(trials.items()) if number > 0}
    total = sum(wanted.values()) + empty_runs
    days = max([1, -(-total // runs_a_day), *wanted.values()])
    while days <= MOST_DAYS:
        found = _in_days(wanted, empty_runs, days, runs_a_day, _numbers(seed).__next__)
        if found is not None:
            return found
        days += 1
    raise ValueError(f"A campaign of {total} runs takes more than {MOST_DAYS} days; plan fewer runs.")


def _in_days(
    trials: Mapping[int, int], empty_runs: int, days: int, runs_a_day: int, chance: Chance
) -> tuple[PlannedRun, ...] | None:
    """The runs in that many days; None where they do not fit."""
    empty = [0] * days
    for run in range(empty_runs):
        empty[round(run * (days - 1) / (empty_runs - 1)) if empty_runs > 1 else 0] += 1
    if max(empty) > runs_a_day:
        return None
    of_day: list[list[int]] = [[] for _ in range(days)]
    for setting in sorted(trials, key=lambda one: (-trials[one], chance())):
        free = [day for day in range(days) if len(of_day[day]) + empty[day] < runs_a_day]
        if len(free) < trials[setting]:
            return None
        free.sort(key=lambda day: (len(of_day[day]) + empty[day], chance()))
        for day in free[: trials[setting]]:
            of_day[day].append(setting)
    runs = []
    for day, settings in enumerate(of_day):
        order: list[int | None] = [*sorted(settings, key=lambda _: chance())]
        for place in _places_of_empty(day, days, empty[day], chance):
            order.insert(0 if place == 0 else len(order), EMPTY_ROOM)
        runs += [PlannedRun(day + 1, place, setting) for place, setting in enumerate(order, start=1)]
    used = sorted({run.day for run in runs})
    return tuple(PlannedRun(used.index(run.day) + 1, run.place, run.setting) for run in runs)


def _places_of_empty(day: int, days: int, number: int, chance: Chance) -> list[int]:
    """0 for the beginning of the day and 1 for its end, for each of its empty-room runs."""
    first = 0 if day == 0 else 1 if day == days - 1 else int(chance() < 0.5)
    return [(first + run) % 2 for run in range(number)]


def _numbers(seed: int) -> Iterator[float]:
    """Even numbers from 0 to 1 that follow from the seed alone, in every version of every library."""
    for place in count():
        digest = hashlib.sha256(f"{seed} {place}".encode()).digest()
        yield int.from_bytes(digest[:8], "big") / 2**64

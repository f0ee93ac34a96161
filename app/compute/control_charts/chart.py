"""A control chart of individual runs and of their exponentially weighted moving average.

Each run is compared with the limits of the last reference period that began before it. Limits never change by
themselves: a reference period ends after its number of runs or on its stated day, and later runs do not enter it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.compute.control_charts.limits import EWMA_WEIGHT, SHEWHART_SIGMAS, ChartRun, Limits, limits_of
from app.compute.control_charts.reference import FEWEST_REFERENCE_RUNS, REFERENCE_RUNS, ReferencePeriod
from app.compute.statistics.measured import Measured

_SAME_CENTRE = 2.0  # standard uncertainties between two centres that count as one


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One run on the chart.

    in_reference : it is one of the runs that the limits come from
    low, high : limits for this run, in the unit of the chart; None while there are none
    score : distance from the centre in standard deviations of this run
    ewma, ewma_limit : average of the scores and its limit either way; None in the reference period
    outside : the run lies outside its limits; ewma_outside : so does the average
    """

    run: ChartRun
    in_reference: bool
    low: float | None = None
    high: float | None = None
    score: float | None = None
    ewma: float | None = None
    ewma_limit: float | None = None

    @property
    def outside(self) -> bool:
        return self.low is not None and self.high is not None and not self.low <= self.run.value <= self.high

    @property
    def ewma_outside(self) -> bool:
        return self.ewma is not None and self.ewma_limit is not None and abs(self.ewma) > self.ewma_limit


@dataclass(frozen=True, slots=True)
class Phase:
    """The runs from one reference period to the next; `limits` is None while the period has too few runs.

    found, needed : reference runs there are, and how many the period needs
    """

    period: ReferencePeriod
    points: tuple[ChartPoint, ...]
    limits: Limits | None
    found: int
    needed: int


@dataclass(frozen=True, slots=True)
class Shift:
    """A lasting change of the level.

    first : the run with which it began, by estimate; found : the run that showed it
    ended : the first run after it, None while it lasts
    change : level since then minus the centre before, in the unit of the chart
    restarted : it shows between two reference periods, not in the moving average
    """

    first: ChartRun
    found: ChartRun
    ended: ChartRun | None
    runs: int
    change: Measured
    restarted: bool = False


@dataclass(frozen=True, slots=True)
class ControlChart:
    """Phases in order of time, and the shifts in them."""

    phases: tuple[Phase, ...]
    shifts: tuple[Shift, ...]

    @property
    def points(self) -> tuple[ChartPoint, ...]:
        return tuple(point for phase in self.phases for point in phase.points)

    @property
    def outside(self) -> tuple[ChartPoint, ...]:
        """Runs outside the limits."""
        return tuple(point for point in self.points if point.outside)

    @property
    def present_shift(self) -> Shift | None:
        """The shift that the latest run belongs to."""
        last = self.shifts[-1] if self.shifts else None
        return last if last is not None and last.ended is None and not last.restarted else None


def control_chart(runs: Sequence[ChartRun], periods: Sequence[ReferencePeriod] = ()) -> ControlChart:
    """The chart of runs in any order. Without a stated reference period the first runs are the reference.

    periods : stated reference periods; runs before the first of them get one of their own

    >>> steady = [ChartRun(n, n, 0.5 + 0.01 * (-1) ** n, 0.01) for n in range(16)]
    >>> chart = control_chart([*steady, *(ChartRun(n, n, 0.6, 0.01) for n in range(16, 24))])
    >>> [(shift.first.run_id, shift.found.run_id, round(shift.change.value, 2)) for shift in chart.shifts]
    [(16, 18, 0.1)]
    """
    ordered = sorted(runs, key=lambda run: (run.day, run.run_id))
    if not ordered:
        return ControlChart((), ())
    starts = sorted(periods, key=lambda period: period.first_day)
    if not starts or ordered[0].day < starts[0].first_day:
        starts = [ReferencePeriod(ordered[0].day), *starts]
    phases = []
    for period, following in zip(starts, [*starts[1:], None], strict=True):
        own = [
            run
            for run in ordered
            if run.day >= period.first_day and (following is None or run.day < following.first_day)
        ]
        if own:
            phases.append(_phase(own, period))
    return ControlChart(tuple(phases), _all_shifts(phases))


def _phase(runs: Sequence[ChartRun], period: ReferencePeriod) -> Phase:
    if period.last_day is None:
        reference, needed = list(runs[:REFERENCE_RUNS]), REFERENCE_RUNS
    else:
        reference, needed = [run for run in runs if run.day <= period.last_day], FEWEST_REFERENCE_RUNS
    if len(reference) < needed:
        held = {run.run_id for run in reference}
        points = tuple(ChartPoint(run, run.run_id in held) for run in runs)
        return Phase(period, points, None, len(reference), needed)
    limits = limits_of(reference)
    return Phase(period, _points(runs, limits, len(reference)), limits, len(reference), needed)


def _points(runs: Sequence[ChartRun], limits: Limits, references: int) -> tuple[ChartPoint, ...]:
    r"""The runs with scores, and from the first run after the reference on with the moving average.

    .. math:: z_i = \frac{x_i - m}{\sqrt{u_i^2 + \tau^2}}, \qquad w_i = \lambda z_i + (1-\lambda) w_{i-1},\quad w_0 = 0

    A score beyond ± 3 enters the average as ± 3, so that one odd run alone does not look like a lasting shift; the
    limits of the run itself report it.
    """
    points = []
    average = share = 0.0
    for place, run in enumerate(runs):
        deviation = limits.standard_deviation(run.uncertainty)
        score = (run.value - limits.centre) / deviation
        half = limits.shewhart_half_width(run.uncertainty)
        low, high = limits.centre - half, limits.centre + half
        if place < references:
            points.append(ChartPoint(run, True, low, high, score))
            continue
        average = EWMA_WEIGHT * min(max(score, -SHEWHART_SIGMAS), SHEWHART_SIGMAS) + (1 - EWMA_WEIGHT) * average
        share = EWMA_WEIGHT * limits.centre_uncertainty / deviation + (1 - EWMA_WEIGHT) * share
        number = place - references + 1
        of_centre = share / (1 - (1 - EWMA_WEIGHT) ** number)
        points.append(ChartPoint(run, False, low, high, score, average, limits.ewma_half_width(number, of_centre)))
    return tuple(points)


def _all_shifts(phases: Sequence[Phase]) -> tuple[Shift, ...]:
    """Shifts within the phases, which end with their phase at the latest, and between them."""
    found: list[Shift] = []
    for number, phase in enumerate(phases, start=1):
        own = _shifts(phase)
        if number < len(phases):
            following = phases[number]
            own = [shift if shift.ended else replace(shift, ended=following.points[0].run) for shift in own]
            lasted = bool(own) and own[-1].ended is following.points[0].run
            between = None if lasted else _between(phase, following)
            own += [] if between is None else [between]
        found += own
    return tuple(found)


def _shifts(phase: Phase) -> list[Shift]:
    """Stretches of the moving average on one side of the centre that pass its limit.

    A stretch ends when the average crosses the centre again, which is after the level came back.
    """
    if phase.limits is None:
        return []
    stretches: list[list[ChartPoint]] = []
    for point in phase.points:
        if point.ewma is None:
            continue
        if stretches and stretches[-1][-1].ewma is not None and stretches[-1][-1].ewma * point.ewma > 0:
            stretches[-1].append(point)
        else:
            stretches.append([point])
    found = []
    for number, stretch in enumerate(stretches, start=1):
        signal = next((place for place, point in enumerate(stretch) if point.ewma_outside), None)
        if signal is not None:
            runs = [point.run for point in stretch]
            ended = stretches[number][0].run if number < len(stretches) else None
            found.append(_shift(runs, signal, ended, phase.limits))
    return found


def _shift(runs: Sequence[ChartRun], signal: int, ended: ChartRun | None, limits: Limits) -> Shift:
    r"""The shift that the run at `signal` showed, with its first run by maximum likelihood.

    .. math:: \hat m = \arg\max_m \frac{\left(\sum_{i \ge m} w_i (x_i - c)\right)^2}{\sum_{i \ge m} w_i},
              \qquad w_i = 1/(u_i^2 + \tau^2)

    for a known centre c and an unknown level since run m; derived here from the normal distribution.
    """
    weights = [limits.standard_deviation(run.uncertainty) ** -2 for run in runs]
    pull = weight = 0.0
    best, first = -1.0, 0
    for place in reversed(range(len(runs))):
        pull += weights[place] * (runs[place].value - limits.centre)
        weight += weights[place]
        if place <= signal and pull**2 / weight > best:
            best, first = pull**2 / weight, place
    own, since = weights[first:], runs[first:]
    level = sum(w * run.value for w, run in zip(own, since, strict=True)) / sum(own)
    change = Measured(level - limits.centre, math.sqrt(1 / sum(own) + limits.centre_uncertainty**2))
    return Shift(since[0], runs[signal], ended, len(since), change)


def _between(before: Phase, after: Phase) -> Shift | None:
    """The difference of two reference periods, where their uncertainties do not explain it."""
    old, new = before.limits, after.limits
    if old is None or new is None:
        return None
    change = Measured(new.centre - old.centre, math.hypot(old.centre_uncertainty, new.centre_uncertainty))
    if abs(change.value) <= _SAME_CENTRE * change.uncertainty:
        return None
    runs = [point.run for point in after.points]
    return Shift(runs[0], runs[after.found - 1], None, len(runs), change, restarted=True)

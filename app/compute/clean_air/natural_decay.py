"""Natural decay of a room, pooled over its empty-room runs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.compute.statistics.measured import Measured
from app.compute.statistics.propagation import effective_degrees_of_freedom
from app.compute.statistics.random_effects import heterogeneity, paule_mandel_variance, random_effects
from app.compute.statistics.repeatability import Repeatability

METHOD = "random-effects mean (Paule-Mandel), t interval (Hartung-Knapp)"

# From this many runs on, the spread comes from the room's own runs; below it the bench-wide spread is used.
FEWEST_RUNS_THAT_SPEAK_FOR_THEMSELVES = 3

# Used until the bench has repeats of its own. Wind, temperature and doors change a room from day to day; the figure is
# an assumption of this program without a published source, and every result that depends on it says so.
ASSUMED_BETWEEN_RUNS = Repeatability(
    relative_sd=0.25,
    degrees_of_freedom=5.0,
    groups=0,
    trials=0,
    source="assumed 25 % between days, until this bench has repeated empty-room runs",
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
    """Pooled natural decay of one room and channel. [1/h]

    natural_decay : the mean, for a quantity averaged over many days
    on_one_day : the same value with the spread between days included, for the result of a single trial
    between_run_sd_per_h : standard deviation between runs beyond the uncertainties of the fits
    between_run_source : "these runs", or the source of a pooled spread
    run_ids, weights : which runs, and the share of each in the mean, in the same order
    first_day, last_day : of the runs [d]
    heterogeneity_p : chi-square probability that the runs differ by no more than their fits allow; 1 for one run
    """

    natural_decay: Measured
    on_one_day: Measured
    between_run_sd_per_h: float
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


def pool_natural_decay(runs: Sequence[EmptyRoomRun], *, between_runs: Repeatability | None = None) -> NaturalDecay:
    r"""Mean natural decay over empty-room runs that differ from day to day.

    .. math:: k_n = \frac{\sum w_i k_i}{\sum w_i}, \qquad w_i = \frac{1}{u_i^2 + \tau^2}

    Parameters
    ----------
    runs : of one room and channel, at least one
    between_runs : relative spread between empty-room runs of the whole bench, used for a room with one or two runs;
        `ASSUMED_BETWEEN_RUNS` where it is missing or has fewer than three degrees of freedom

    Returns
    -------
    With three runs or more: Paule and Mandel's between-run variance, and the t interval of `random_effects`.
    With one or two: the pooled relative spread times the level, combined with the scatter of the two runs by their
    degrees of freedom, because two runs alone would give an interval of thirteen standard errors.

    Raises
    ------
    ValueError if there is no run, or if a run's uncertainty is not above zero.

    >>> day_1 = EmptyRoomRun(11, Measured(0.50, 0.02, 30), day=1.0)
    >>> day_5 = EmptyRoomRun(12, Measured(0.62, 0.02, 30), day=5.0)
    >>> day_9 = EmptyRoomRun(13, Measured(0.44, 0.02, 30), day=9.0)
    >>> pool_natural_decay([day_1, day_5, day_9]).natural_decay
    Measured(value=0.5..., uncertainty=0.0529...)
    >>> pool_natural_decay([day_1]).between_run_source
    'assumed 25 % between days, until this bench has repeated empty-room runs'
    """
    if not runs:
        raise ValueError("The natural decay needs at least one empty-room run and found none.")
    for run in runs:
        if not run.decay_rate.uncertainty > 0:
            raise ValueError(
                f"Empty-room run {run.run_id} has the uncertainty {run.decay_rate.uncertainty} per hour; it must be "
                "above zero."
            )
    if len(runs) >= FEWEST_RUNS_THAT_SPEAK_FOR_THEMSELVES:
        return _pool_many(runs)
    return _pool_few(runs, between_runs if between_runs and between_runs.is_usable else ASSUMED_BETWEEN_RUNS)


def _pool_many(runs: Sequence[EmptyRoomRun]) -> NaturalDecay:
    pooled = random_effects([r.decay_rate.value for r in runs], [r.decay_rate.uncertainty for r in runs])
    mean = Measured(pooled.mean, pooled.uncertainty, pooled.degrees_of_freedom)
    return _gather(
        runs, mean, pooled.between_sd, pooled.degrees_of_freedom, "these runs", pooled.weights, pooled.heterogeneity_p
    )


def _pool_few(runs: Sequence[EmptyRoomRun], pooled: Repeatability) -> NaturalDecay:
    values = np.array([run.decay_rate.value for run in runs])
    uncertainties = np.array([run.decay_rate.uncertainty for run in runs])
    between_sd = pooled.relative_sd * abs(float(values.mean()))
    own_degrees = values.size - 1
    degrees = pooled.degrees_of_freedom + own_degrees
    if own_degrees:
        own_variance = paule_mandel_variance(values, uncertainties**2)
        between_sd = math.sqrt((pooled.degrees_of_freedom * between_sd**2 + own_degrees * own_variance) / degrees)
    w = 1.0 / (uncertainties**2 + between_sd**2)
    share = w / w.sum()
    parts = [(s * u, run.decay_rate.degrees_of_freedom) for s, u, run in zip(share, uncertainties, runs, strict=True)]
    alone = pooled.degrees_of_freedom_alone + own_degrees
    parts.append((between_sd * math.sqrt(float(share @ share)), alone))
    mean = Measured(
        float(share @ values), math.hypot(*(part for part, _ in parts)), effective_degrees_of_freedom(parts)
    )
    p = heterogeneity(values, uncertainties)[1] if own_degrees else 1.0
    return _gather(runs, mean, between_sd, alone, pooled.source, tuple(share.tolist()), p)


def _gather(
    runs: Sequence[EmptyRoomRun],
    mean: Measured,
    between_sd: float,
    between_degrees: float,
    source: str,
    weights: tuple[float, ...],
    heterogeneity_p: float,
) -> NaturalDecay:
    parts = [(mean.uncertainty, mean.degrees_of_freedom), (between_sd, between_degrees)]
    return NaturalDecay(
        natural_decay=mean,
        on_one_day=Measured(mean.value, math.hypot(mean.uncertainty, between_sd), effective_degrees_of_freedom(parts)),
        between_run_sd_per_h=between_sd,
        between_run_source=source,
        run_ids=tuple(run.run_id for run in runs),
        weights=weights,
        first_day=min(run.day for run in runs),
        last_day=max(run.day for run in runs),
        heterogeneity_p=heterogeneity_p,
    )

"""The answer to a question on runs to come; page, API, chart, checklist and sentences are made from it alone."""

from dataclasses import dataclass
from typing import Literal

Goal = Literal["order", "rate", "difference"]
# known: no further run is needed; runs: so many; not by runs: runs alone cannot reach it; first runs: too little is
# known to plan, so a few runs come first
Status = Literal["known", "runs", "not by runs", "first runs"]


@dataclass(frozen=True, slots=True)
class RunsOfSetting:
    """Trials of one setting: so far, and further ones of about so many minutes each."""

    setting_id: int
    unit_id: int
    name: str
    so_far: int
    more: int
    minutes: int
    is_long_enough: bool = True


@dataclass(frozen=True, slots=True)
class Step:
    """What some further runs give: for a rate the half-width over it, for a difference the power, for the order the
    expected number of pairs in the wrong order.

    typical : of the median campaign, for a rate only; assured : of nine campaigns in ten
    """

    trials: int
    empty_runs: int
    assured: float
    typical: float | None = None


@dataclass(frozen=True, slots=True)
class NextRun:
    """One candidate for the next run, an empty-room run without a setting, and the figure after it."""

    setting_id: int | None
    name: str
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the answer assumes.

    between_trials : relative spread between trials, with its degrees of freedom and source
    natural_per_h : present value; natural_uncertainty : on the day of an empty-room run, and thirty days later [1/h]
    natural_share : of the total decay
    volume_share, shared_share : relative half-widths that no number of runs reduces
    difference_share : difference to be detected over the first rate
    least_share : with the most runs considered, the difference that would be detected, over the first rate
    most_empty_runs : empty-room runs considered at most
    unlike : names of settings whose trials differ by more than repeats do
    """

    room: str
    channel: str
    between_trials: float
    degrees_of_freedom: float
    source: str
    mostly_assumed: bool
    natural_per_h: float | None = None
    natural_uncertainty: tuple[float, float] | None = None
    natural_is_stale: bool = False
    natural_share: float = 0.0
    volume_share: float = 0.0
    shared_share: float = 0.0
    difference_share: float = 0.0
    difference_is_measured: bool = False
    least_share: float | None = None
    most_empty_runs: int = 0
    unlike: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """wanted : the precision or power asked for; now, then : the figure of the goal without and with the runs."""

    goal: Goal
    status: Status
    known: Known
    wanted: float = 0.0
    now: float = 0.0
    then: float = 0.0
    runs: tuple[RunsOfSetting, ...] = ()
    empty_runs: int = 0
    empty_minutes: int = 0
    steps: tuple[Step, ...] = ()
    next_runs: tuple[NextRun, ...] = ()

    @property
    def trials(self) -> int:
        return sum(each.more for each in self.runs)

    @property
    def total_runs(self) -> int:
        return self.trials + self.empty_runs

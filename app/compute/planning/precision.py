"""How narrow the interval of a clean air delivery rate will be after further trials and empty-room runs."""

import math
from dataclasses import dataclass

from app.compute.clean_air.rate import clean_air_delivery_rate
from app.compute.planning.natural_ahead import LevelAhead, RoomAhead
from app.compute.planning.trial_variance import ASSURANCE, TYPICAL, TrialVariance
from app.compute.statistics.measured import Measured, coverage_factor_95

MOST_TRIALS = 40
_NORMAL_OF_ASSURANCE = 1.2815515655446004  # point of the normal distribution that a share ASSURANCE lies below
_CLOSE = 1.1  # times the narrowest half-width: what more runs give is not worth them
FEWEST_EMPTY_RUNS = 2  # one before and one after the trials of a campaign


@dataclass(frozen=True, slots=True)
class RateToPlan:
    """A setting whose clean air delivery rate V (k_total - k_natural) is to be known better.

    total_decay_per_h : present mean; variance : of its trials; room : natural decay; volume : [m³]
    """

    total_decay_per_h: float
    variance: TrialVariance
    room: RoomAhead
    volume: Measured

    @property
    def cleaning_per_h(self) -> float:
        return self.total_decay_per_h - self.room.so_far[0].expected.value


@dataclass(frozen=True, slots=True)
class RunsAhead:
    """Numbers of further runs, and the half-width of the 95 % interval over the rate that they give.

    typical : of the median campaign; assured : not exceeded in a share `ASSURANCE` of campaigns
    """

    trials: int
    empty_runs: int
    typical: float
    assured: float


def half_width_after(plan: RateToPlan, trials: int, empty_runs: int) -> RunsAhead:
    """Relative half-width of the clean air delivery rate after further runs.

    The natural decay of the trial in the middle stands for the setting, as in its summary: that of the campaign once
    more than half of the trials belong to it. Three things vary between campaigns: the scatter of the trials, the
    spread between days of the room, and where the rate comes to lie, over which the half-width is taken. What a share
    `ASSURANCE` of campaigns has of each is added up: all have long tails, so that one alone can spoil a campaign.
    """
    if not plan.cleaning_per_h > 0:
        raise ValueError(
            f"The rate above the natural decay is {plan.cleaning_per_h:g} per hour; it must be above zero."
        )
    typical, natural = _rate_after(plan, trials, empty_runs)
    factor = coverage_factor_95(typical.degrees_of_freedom) / typical.value
    if trials + empty_runs == 0:
        return RunsAhead(0, 0, factor * typical.uncertainty, factor * typical.uncertainty)
    means = [plan.variance.mean_after(plan.total_decay_per_h, trials, share) for share in (TYPICAL, ASSURANCE)]
    volume_2 = plan.volume.value**2
    of_trials = volume_2 * max(means[1].uncertainty ** 2 - means[0].uncertainty ** 2, 0.0)
    of_room = volume_2 * (natural.assured_uncertainty**2 - natural.expected.uncertainty**2)
    before = _rate_after(plan, 0, 0)[0]
    moves = math.sqrt(max(before.uncertainty**2 - typical.uncertainty**2, 0.0)) / before.value
    of_value = typical.uncertainty**2 * ((1 + _NORMAL_OF_ASSURANCE * moves) ** 2 - 1)
    assured = math.sqrt(typical.uncertainty**2 + of_trials + of_room + of_value)
    return RunsAhead(trials, empty_runs, factor * typical.uncertainty, factor * assured)


def _rate_after(plan: RateToPlan, trials: int, empty_runs: int) -> tuple[Measured, LevelAhead]:
    """The rate of a typical campaign, with the natural decay that stands for it."""
    natural = natural_of_middle_trial(plan.room, plan.variance.trials, trials)[empty_runs]
    now, expected = plan.room.so_far[0].expected.value, natural.expected
    level = Measured(now, expected.uncertainty, expected.degrees_of_freedom)
    total = plan.variance.mean_after(plan.total_decay_per_h, trials)
    return clean_air_delivery_rate(total, level, plan.volume), natural


def natural_of_middle_trial(room: RoomAhead, trials: int, more: int) -> tuple[LevelAhead, ...]:
    """Natural decay, by number of empty-room runs, of the week that stands for all trials."""
    return room.campaign if (trials + more - 1) // 2 >= trials else room.so_far


def fewest_runs(plan: RateToPlan, within: float) -> RunsAhead:
    """The fewest runs whose assured half-width is at most `within`; where none is, the fewest that come close to the
    narrowest of those considered.

    None are needed where the interval is narrow enough already. Otherwise at least two empty-room runs bracket the
    trials; with equal numbers of runs, the narrower interval is preferred.
    """
    now = half_width_after(plan, 0, 0)
    if now.assured <= within:
        return now
    fewest = min(FEWEST_EMPTY_RUNS, plan.room.most_runs)
    choices = [
        half_width_after(plan, trials, empty)
        for empty in range(fewest, plan.room.most_runs + 1)
        for trials in range(MOST_TRIALS + 1)
    ]
    enough = [choice for choice in choices if choice.assured <= within]
    if enough:
        return min(enough, key=lambda choice: (choice.trials + choice.empty_runs, choice.assured))
    narrowest = min(choice.assured for choice in choices)
    near = [choice for choice in choices if choice.assured <= _CLOSE * narrowest]
    return min(near, key=lambda choice: (choice.trials + choice.empty_runs, choice.assured))


def floor_half_width(plan: RateToPlan) -> tuple[float, float]:
    """Relative half-widths that no number of runs goes below: of the room volume, and of what all trials share."""
    factor = coverage_factor_95(math.inf)
    return (
        factor * plan.volume.uncertainty / plan.volume.value,
        factor * plan.variance.shared_after(10**6) / plan.cleaning_per_h,
    )

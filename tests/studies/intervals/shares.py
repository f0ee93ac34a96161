"""What a share of few trials says: its exact interval, and whether that excludes the wanted shares."""

from dataclasses import dataclass

from scipy.stats import beta, chi2

WANTED = (93.0, 97.0)


@dataclass(frozen=True, slots=True)
class Share:
    """held of all trials; `interval` is that of Clopper and Pearson, 95 %.

    >>> [round(end, 1) for end in Share(35, 40).interval], Share(35, 40).is_excluded
    ([73.2, 95.8], False)
    """

    held: int
    trials: int

    @property
    def percent(self) -> float:
        return 100 * self.held / self.trials

    @property
    def interval(self) -> tuple[float, float]:
        missed = self.trials - self.held
        low = float(beta.ppf(0.025, self.held, missed + 1)) if self.held else 0.0
        high = float(beta.ppf(0.975, self.held + 1, missed)) if missed else 1.0
        return 100 * low, 100 * high

    @property
    def is_outside(self) -> bool:
        return not WANTED[0] <= self.percent <= WANTED[1]

    @property
    def is_excluded(self) -> bool:
        """Whether the trials rule out every wanted share."""
        low, high = self.interval
        return low > WANTED[1] or high < WANTED[0]

    def text(self) -> str:
        low, high = self.interval
        return f"{self.percent:>8.1f}{f'{low:.0f}–{high:.0f}':>8}"


def is_surely_above(ratio: float, limit: float, trials: int) -> bool:
    """Whether a half-width over the standard deviation of so many rates is above a limit, 97.5 % sure if normal."""
    return ratio * float((chi2.ppf(0.025, trials - 1) / (trials - 1)) ** 0.5) > limit

"""Variance of the mean of further trials, of which only the distribution is known."""

import math
from dataclasses import dataclass

from scipy.special import fdtri

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability, UncertainVariance, total_variance, variance_of

ASSURANCE = 0.9  # share of campaigns in which a promised half-width is reached
TYPICAL = 0.5


@dataclass(frozen=True, slots=True)
class TrialVariance:
    r"""Variance of one trial about the rate of its setting, as the bench knows it: scaled inverse chi-square.

    .. math:: \sigma^2 \sim \nu s^2/\chi^2_\nu

    scale : s², of the Student's t interval of one trial [1/h²]
    degrees_of_freedom : ν, infinite for a known variance
    trials : usable trials so far
    shared_per_h : standard uncertainty that all trials share, so that repeats do not reduce it [1/h]
    shorter : variance that further trials have more than those so far, because they are shorter [1/h²]
    shared_later_per_h : of further trials, where their length changes it; None as it is so far
    """

    scale: float
    degrees_of_freedom: float
    trials: int
    shared_per_h: float = 0.0
    shorter: float = 0.0
    shared_later_per_h: float | None = None

    def degrees_added(self, more: int) -> int:
        """Degrees of freedom that more trials add; the first trial of a setting adds none."""
        return more if self.trials else max(more - 1, 0)

    def degrees_after(self, more: int) -> float:
        return self.degrees_of_freedom + self.degrees_added(more)

    def of_mean(self, more: int) -> float:
        """Variance of the mean of all trials after `more` [1/h²]."""
        number = max(self.trials + more, 1)
        return self.scale / number + self.shorter * more / number**2

    def shared_after(self, more: int) -> float:
        """What all trials share after `more`, errors of one sign [1/h]."""
        later = self.shared_per_h if self.shared_later_per_h is None else self.shared_later_per_h
        return (self.trials * self.shared_per_h + more * later) / max(self.trials + more, 1)

    def mean_after(self, rate_per_h: float, more: int, share: float = TYPICAL) -> Measured:
        r"""The mean of all trials after `more`, with an uncertainty that a share of campaigns does not exceed.

        .. math:: u^2 = \frac{s^2}{n}\left(w^2 + (1-w^2) F\right), \qquad w = \frac{\nu}{\nu+d}, \qquad F \sim F_{d,\nu}

        The scatter of the new trials, over s², has the distribution F_{d,ν}, because the true variance is uncertain
        too. The bench combines it with s² twice by degrees of freedom: in its own figure, and in the mean of the
        setting. A known variance stays as it is.

        >>> few, many = (TrialVariance(0.04, 20.0, 1).mean_after(4.0, more, ASSURANCE) for more in (1, 8))
        >>> round(few.uncertainty, 3), round(many.uncertainty, 3)
        (0.154, 0.081)
        """
        new = self.degrees_added(more)
        factor = 1.0
        if new and math.isfinite(self.degrees_of_freedom):
            scatter = float(fdtri(new, self.degrees_of_freedom, share))
            prior = self.degrees_of_freedom / (self.degrees_of_freedom + new)
            factor = prior**2 + (1 - prior**2) * scatter
        uncertainty = math.hypot(math.sqrt(self.of_mean(more) * factor), self.shared_after(more))
        return Measured(rate_per_h, uncertainty, self.degrees_after(more))


def variance_of_trials(total: Measured, trials: int, shared_per_h: float = 0.0) -> TrialVariance:
    """The variance of one trial behind the mean of some; total : without the part that all trials share.

    >>> variance_of_trials(Measured(4.0, 0.1, 12.0), 4).scale
    0.04...
    """
    return TrialVariance(total.uncertainty**2 * trials, total.degrees_of_freedom, trials, shared_per_h)


def combined_with_bench(
    own: TrialVariance, rate_per_h: float, fit_variance: float, bench: Repeatability
) -> TrialVariance:
    """Own scatter of a few trials, combined by degrees of freedom with what the bench knows, so that a plan does not
    depend on it alone.

    own : of trials that differ by more than repeats do; fit_variance : of one fit [1/h²]
    """
    between = UncertainVariance((bench.relative_sd * rate_per_h) ** 2, bench.degrees_of_freedom)
    prior = total_variance([variance_of(math.sqrt(fit_variance), math.inf), between])
    if math.isinf(prior.degrees_of_freedom):
        return TrialVariance(max(own.scale, prior.scale), math.inf, own.trials, own.shared_per_h)
    both = prior.degrees_of_freedom + own.degrees_of_freedom
    scale = (prior.degrees_of_freedom * prior.scale + own.degrees_of_freedom * own.scale) / both
    return TrialVariance(scale, both, own.trials, own.shared_per_h)

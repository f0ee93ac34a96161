"""How much one and the same thing differs from trial to trial on this bench, pooled over everything repeated."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.compute.measured import Measured

# Below this a pooled spread is too poorly known to lend to anything else: Student's t for 2 degrees is 4.3.
FEWEST_DEGREES_OF_FREEDOM = 3.0


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Relative standard deviation between trials of one thing, beyond the uncertainties of the fits.

    relative_sd : between-trial standard deviation over the mean, 0.05 for 5 %
    degrees_of_freedom : of the pooled scatter, in which the errors of the fits are still contained
    groups, trials : how many things were repeated, and in how many trials
    source : where the figure comes from, in words for the reader
    relative_fit_sd : the errors of the fits that were taken off the scatter, over the mean
    """

    relative_sd: float
    degrees_of_freedom: float
    groups: int
    trials: int
    source: str
    relative_fit_sd: float = 0.0

    @property
    def degrees_of_freedom_alone(self) -> float:
        r"""Of the spread by itself: taking the fits' part off leaves a variance that is known less well.

        .. math:: \nu_\tau = \nu\left(\frac{\tau^2}{\tau^2+u_f^2}\right)^2, \qquad \text{at least 1}
        """
        scatter = self.relative_sd**2 + self.relative_fit_sd**2
        return max(1.0, self.degrees_of_freedom * (self.relative_sd**2 / scatter) ** 2) if scatter > 0 else math.inf

    @property
    def can_be_lent(self) -> bool:
        """Whether enough degrees of freedom stand behind it to serve a thing that was not repeated."""
        return self.degrees_of_freedom >= FEWEST_DEGREES_OF_FREEDOM


def pooled_repeatability(groups: Sequence[Sequence[Measured]]) -> Repeatability | None:
    r"""Relative between-trial standard deviation, pooled over all groups with repeats. [1]_

    .. math:: \tau_r^2 = \max\left(0,\ \frac{\sum_g\sum_i (x_{gi}-\bar x_g)^2/\bar x_g^2}{\sum_g (n_g-1)}
              - \overline{u^2/\bar x^2}\right)

    The second term is the mean relative variance of the fits, weighted like the first, which the scatter contains
    and which each trial brings along by itself.

    groups : for each setting, channel and room, the decay rates of its trials [1/h]; groups of one are passed over,
        and so are groups whose mean is not above zero
    Returns None where nothing was repeated.

    References
    ----------
    .. [1] Pooling of variances over levels as for a repeatability standard deviation (ISO 5725-2; not opened). That
       the spread is proportional to the rate is an assumption.

    >>> spread = pooled_repeatability([[Measured(4.0, 0.1), Measured(4.4, 0.1)], [Measured(1.0, 0.02)]])
    >>> round(spread.relative_sd, 4), spread.degrees_of_freedom, spread.groups
    (0.063, 1.0, 1)
    """
    squares, fit_variance, degrees, counted_groups, counted_trials = 0.0, 0.0, 0, 0, 0
    for group in groups:
        number = len(group)
        mean = sum(rate.value for rate in group) / number if number else 0.0
        if number < 2 or not mean > 0:
            continue
        squares += sum((rate.value - mean) ** 2 for rate in group) / mean**2
        fit_variance += (number - 1) * sum(rate.uncertainty**2 for rate in group) / number / mean**2
        degrees += number - 1
        counted_groups += 1
        counted_trials += number
    if degrees == 0:
        return None
    return Repeatability(
        relative_sd=math.sqrt(max(0.0, (squares - fit_variance) / degrees)),
        degrees_of_freedom=float(degrees),
        groups=counted_groups,
        trials=counted_trials,
        source=f"the bench's own repeats: {counted_trials} trials in {counted_groups} groups",
        relative_fit_sd=math.sqrt(fit_variance / degrees),
    )

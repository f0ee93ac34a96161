"""Combines trials of one unit, setting and channel into one decay rate, with the spread between them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, fdtrc

from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.random_effects import heterogeneity, random_effects
from app.compute.statistics.repeatability import (
    ASSUMED_BETWEEN_TRIALS,
    Repeatability,
    UncertainVariance,
    total_variance,
    variance_of,
    with_spread,
)
from app.compute.statistics.spread_sources import ASSUMED, BENCH, OWN_AND_ASSUMED, OWN_AND_BENCH, OWN_REPEATS

# Probability below which trials count as differing by more than repeats do.
HETEROGENEITY_LIMIT = 0.05


@dataclass(frozen=True, slots=True)
class CombinedTrials:
    """Mean decay rate over all usable trials. [1/h]

    total_decay : with the between-trial spread in its uncertainty
    weights : share of each trial in the mean, in the order given
    between_trial_sd_per_h : spread between trials used for the interval
    between_trial_source : "own repeats", "bench repeatability", "own repeats and bench repeatability",
        "assumed spread", "own repeats and assumed spread"
    cochran_q, heterogeneity_p, i_squared : of the trials against the uncertainties of their fits alone
    heterogeneous : the trials differ by more than repeats of this bench do; nothing is excluded because of it
    scatter_p : the probability behind `heterogeneous`
    """

    total_decay: Measured
    weights: tuple[float, ...]
    between_trial_sd_per_h: float
    between_trial_source: str
    cochran_q: float
    heterogeneity_p: float
    i_squared: float
    heterogeneous: bool
    scatter_p: float


def combine_trials(
    rates: Sequence[Measured], bench_repeatability: Repeatability = ASSUMED_BETWEEN_TRIALS
) -> CombinedTrials:
    r"""Mean decay rate of repeated trials, with a t interval that includes the spread between trials.

    .. math:: \bar k = \frac{\sum w_i k_i}{\sum w_i}, \quad w_i = \frac{1}{u_i^2+\tau^2}, \quad
              q = \frac{\sum w_i (k_i-\bar k)^2}{n-1}, \quad
              u^2 = \frac{(\nu_0-2) + (n-1)\,q}{\nu_0 + n - 1}\cdot\frac{1}{\sum w_i}

    Parameters
    ----------
    rates : decay rate of each trial with the uncertainty of its fit, above zero; at least one [1/h]
    bench_repeatability : relative spread τ_r between repeats, assumed or updated by this bench; ν0 are the degrees of
        freedom of the spread beside fits like these

    Returns
    -------
    τ = τ_r times the level. The trials' own scatter q, measured against it, is combined with it by degrees of freedom
        [1]_; a single trial has the bench's figure alone. Where the trials differ by more than repeats do (F test on q,
        below 5 %), only their own scatter is used: `random_effects`, and `heterogeneous`.

    Raises
    ------
    ValueError if there is no trial, or if a trial's uncertainty is not above zero.

    Notes
    -----
    No trial is dropped or weighted down for being far off; excluding one is a person's decision, with a reason.

    References
    ----------
    .. [1] A scaled inverse chi-square prior for a variance, as in G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3(1),
       art. 3, 2004; from memory. Coverage is checked by simulation.

    >>> alone = combine_trials([Measured(5.0, 0.06)], Repeatability(0.04, 20, 9, 29, "repeats"))
    >>> alone.total_decay, alone.between_trial_source
    (Measured(value=5.0, uncertainty=0.199...), 'bench repeatability')
    """
    if not rates:
        raise ValueError("Combining trials needs at least one decay rate and found none.")
    for rate in rates:
        if not rate.uncertainty > 0:
            raise ValueError(f"A trial has the uncertainty {rate.uncertainty} per hour; it must be above zero.")
    if len(rates) == 1:
        return _single(rates[0], bench_repeatability)
    values = np.array([rate.value for rate in rates])
    return _with_bench(values, np.array([rate.uncertainty for rate in rates]), bench_repeatability)


def _single(rate: Measured, bench: Repeatability) -> CombinedTrials:
    return CombinedTrials(
        total_decay=at_least_as_wide(with_spread(rate, bench), rate),
        weights=(1.0,),
        between_trial_sd_per_h=bench.relative_sd * abs(rate.value),
        between_trial_source=ASSUMED if bench.mostly_assumed else BENCH,
        cochran_q=0.0,
        heterogeneity_p=1.0,
        i_squared=0.0,
        heterogeneous=False,
        scatter_p=1.0,
    )


def _with_bench(
    values: NDArray[np.float64], uncertainties: NDArray[np.float64], bench: Repeatability
) -> CombinedTrials:
    between_variance = (bench.relative_sd * abs(float(values.mean()))) ** 2
    w = 1.0 / (uncertainties**2 + between_variance)
    share = w / w.sum()
    mean = float(share @ values)
    own_degrees = values.size - 1
    # the harmonic mean of the fit variances represents the group, because the precise trials dominate its mean
    of_fits = variance_of(math.sqrt(values.size / float(np.sum(1.0 / uncertainties**2))), math.inf)
    of_trial = total_variance([of_fits, UncertainVariance(between_variance, bench.degrees_of_freedom)])
    scale, bench_degrees = of_trial.scale / of_trial.mean, of_trial.degrees_of_freedom
    scatter = float(w @ (values - mean) ** 2) / own_degrees / scale
    if math.isinf(bench_degrees):
        scatter_p, moderated = float(chdtrc(own_degrees, scatter * own_degrees)), 1.0
    else:
        scatter_p = float(fdtrc(own_degrees, bench_degrees, scatter))
        moderated = (bench_degrees + own_degrees * scatter) / (bench_degrees + own_degrees)
    if scatter_p < HETEROGENEITY_LIMIT:
        return _by_themselves(values, uncertainties, scatter_p=scatter_p, heterogeneous=True)
    q, p, i_squared = heterogeneity(values, uncertainties)
    return CombinedTrials(
        # own repeats are among those of the bench, so they add no degrees of freedom
        total_decay=Measured(mean, math.sqrt(scale * moderated / float(w.sum())), max(bench_degrees, own_degrees)),
        weights=tuple(share.tolist()),
        between_trial_sd_per_h=math.sqrt(moderated * between_variance),
        between_trial_source=OWN_AND_ASSUMED if bench.mostly_assumed else OWN_AND_BENCH,
        cochran_q=q,
        heterogeneity_p=p,
        i_squared=i_squared,
        heterogeneous=False,
        scatter_p=scatter_p,
    )


def _by_themselves(
    values: NDArray[np.float64], uncertainties: NDArray[np.float64], *, scatter_p: float, heterogeneous: bool
) -> CombinedTrials:
    combined = random_effects(values.tolist(), uncertainties.tolist())
    return CombinedTrials(
        total_decay=Measured(combined.mean, combined.uncertainty, combined.degrees_of_freedom),
        weights=combined.weights,
        between_trial_sd_per_h=combined.between_sd,
        between_trial_source=OWN_REPEATS,
        cochran_q=combined.cochran_q,
        heterogeneity_p=combined.heterogeneity_p,
        i_squared=combined.i_squared,
        heterogeneous=heterogeneous,
        scatter_p=scatter_p,
    )

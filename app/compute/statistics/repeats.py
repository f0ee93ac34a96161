"""Combines trials of one unit, setting and channel into one decay rate, with the spread between them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, fdtrc

from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.propagation import effective_degrees_of_freedom
from app.compute.statistics.random_effects import heterogeneity, random_effects
from app.compute.statistics.repeatability import Repeatability

OWN_REPEATS = "own repeats"
BENCH = "bench repeatability"
OWN_AND_BENCH = "own repeats and bench repeatability"
NOT_KNOWN = "not known"

# Probability below which trials count as differing by more than repeats do.
HETEROGENEITY_LIMIT = 0.05


@dataclass(frozen=True, slots=True)
class CombinedTrials:
    """Mean decay rate over all usable trials. [1/h]

    total_decay : with the between-trial spread in its uncertainty, unless `between_trial_source` says "not known"
    weights : share of each trial in the mean, in the order given
    between_trial_sd_per_h : spread between trials used for the interval; 0 where it is not known
    between_trial_source : "own repeats", "bench repeatability", "own repeats and bench repeatability", "not known"
    cochran_q, heterogeneity_p, i_squared : of the trials against the uncertainties of their fits alone
    heterogeneous : the trials differ by more than repeats of this bench do (or, without a bench figure, by more than
        their fits allow); nothing is excluded because of it
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


def combine_trials(rates: Sequence[Measured], bench_repeatability: Repeatability | None = None) -> CombinedTrials:
    r"""Mean decay rate of repeated trials, with a t interval that includes the spread between trials.

    .. math:: \bar k = \frac{\sum w_i k_i}{\sum w_i}, \quad w_i = \frac{1}{u_i^2+\tau^2}, \quad
              q = \frac{\sum w_i (k_i-\bar k)^2}{n-1}, \quad
              u^2 = \frac{\nu_0 + (n-1)\,q}{\nu_0 + n - 1}\cdot\frac{1}{\sum w_i}

    Parameters
    ----------
    rates : decay rate of each trial with the uncertainty of its fit, above zero; at least one [1/h]
    bench_repeatability : relative spread τ_r between repeats on this bench; it is used when its degrees of freedom are
        three or more. ν0 are those of the spread beside fits like these

    Returns
    -------
    With a bench figure, τ = τ_r times the level, and the trials' own scatter q, measured against it, is combined with
    it by degrees of freedom [1]_; a single trial uses the bench figure. Where the trials differ by
        more than repeats do (F test on q, below 5 %), only their own scatter is used: `random_effects`, and
        `heterogeneous`.
    Without a bench figure, two or more trials use their own scatter; a single one has only the uncertainty of its
        fit, which is stated.

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
    (Measured(value=5.0, uncertainty=0.208...), 'bench repeatability')
    """
    if not rates:
        raise ValueError("Combining trials needs at least one decay rate and found none.")
    for rate in rates:
        if not rate.uncertainty > 0:
            raise ValueError(f"A trial has the uncertainty {rate.uncertainty} per hour; it must be above zero.")
    bench = bench_repeatability if bench_repeatability and bench_repeatability.is_usable else None
    if len(rates) == 1:
        return _single(rates[0], bench)
    values = np.array([rate.value for rate in rates])
    uncertainties = np.array([rate.uncertainty for rate in rates])
    if bench is None:
        _q, p, _i_squared = heterogeneity(values, uncertainties)
        return _by_themselves(values, uncertainties, scatter_p=p, heterogeneous=p < HETEROGENEITY_LIMIT)
    return _with_bench(values, uncertainties, bench)


def _single(rate: Measured, bench: Repeatability | None) -> CombinedTrials:
    between_sd = bench.relative_sd * abs(rate.value) if bench else 0.0
    parts = [(rate.uncertainty, rate.degrees_of_freedom)]
    if bench:
        parts.append((between_sd, bench.degrees_of_freedom_alone))
    total = Measured(rate.value, math.hypot(rate.uncertainty, between_sd), effective_degrees_of_freedom(parts))
    return CombinedTrials(
        total_decay=at_least_as_wide(total, rate),
        weights=(1.0,),
        between_trial_sd_per_h=between_sd,
        between_trial_source=BENCH if bench else NOT_KNOWN,
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
    scatter = float(w @ (values - mean) ** 2) / own_degrees
    # the harmonic mean of the fit variances represents the group, because the precise trials dominate its mean
    fit_variance = values.size / float(np.sum((float(values.mean()) / uncertainties) ** 2))
    bench_degrees = bench.degrees_of_freedom_with_fit(fit_variance)
    if math.isinf(bench_degrees):
        scatter_p = float(chdtrc(own_degrees, scatter * own_degrees))
        moderated = 1.0
    else:
        scatter_p = float(fdtrc(own_degrees, bench_degrees, scatter))
        moderated = (bench_degrees + own_degrees * scatter) / (bench_degrees + own_degrees)
    if scatter_p < HETEROGENEITY_LIMIT:
        return _by_themselves(values, uncertainties, scatter_p=scatter_p, heterogeneous=True)
    q, p, i_squared = heterogeneity(values, uncertainties)
    return CombinedTrials(
        total_decay=Measured(mean, math.sqrt(moderated / float(w.sum())), bench_degrees + own_degrees),
        weights=tuple(share.tolist()),
        between_trial_sd_per_h=math.sqrt(moderated * between_variance),
        between_trial_source=OWN_AND_BENCH,
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

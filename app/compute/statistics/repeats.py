"""Combines trials of one unit, setting and channel into one decay rate, with the spread between them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, fdtrc

from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.random_effects import random_effects
from app.compute.statistics.repeatability import (
    ASSUMED_BETWEEN_TRIALS,
    Repeatability,
    with_spread,
)
from app.compute.statistics.spread_sources import ASSUMED, BENCH, OWN_AND_ASSUMED, OWN_AND_BENCH, OWN_REPEATS

Floats = NDArray[np.float64]

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
    return combine_many([(rates, bench_repeatability)])[0]


def combine_many(settings: Sequence[tuple[Sequence[Measured], Repeatability]]) -> list[CombinedTrials]:
    """`combine_trials` of many settings, in their order; a result does not depend on the others, to the last digit."""
    found: dict[int, CombinedTrials] = {}
    by_number: dict[int, list[int]] = defaultdict(list)
    for place, (rates, bench) in enumerate(settings):
        _check(rates)
        if len(rates) == 1:
            found[place] = _single(rates[0], bench)
        else:
            by_number[len(rates)].append(place)
    for places in by_number.values():
        found |= zip(places, _with_bench([settings[place] for place in places]), strict=True)
    return [found[place] for place in range(len(settings))]


def _check(rates: Sequence[Measured]) -> None:
    if not rates:
        raise ValueError("Combining trials needs at least one decay rate and found none.")
    for rate in rates:
        if not rate.uncertainty > 0:
            raise ValueError(f"A trial has the uncertainty {rate.uncertainty} per hour; it must be above zero.")


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


def _with_bench(settings: Sequence[tuple[Sequence[Measured], Repeatability]]) -> list[CombinedTrials]:
    """Of equally many repeats: one row a setting, one column a trial, in ascending order, so that the order of the
    trials does not matter to the last digit."""
    orders = [sorted(range(len(rates)), key=lambda p: (rates[p].value, rates[p].uncertainty)) for rates, _ in settings]
    rows = [[rates[place] for place in order] for (rates, _), order in zip(settings, orders, strict=True)]
    values = np.array([[rate.value for rate in row] for row in rows])
    fits = np.array([[rate.uncertainty for rate in row] for row in rows]) ** 2
    number, own_degrees = values.shape[1], values.shape[1] - 1
    benches = [bench for _, bench in settings]
    between = (np.array([bench.relative_sd for bench in benches]) * np.abs(values.sum(axis=1) / number)) ** 2
    w = 1.0 / (fits + between[:, None])
    total = w.sum(axis=1)
    share = w / total[:, None]
    mean = (share * values).sum(axis=1)
    # the harmonic mean of the fit variances represents the group, because the precise trials dominate its mean
    of_fits = number / (1.0 / fits).sum(axis=1)
    scale, degrees = _of_trial(of_fits, between, np.array([bench.degrees_of_freedom for bench in benches]))
    scatter = (w * (values - mean[:, None]) ** 2).sum(axis=1) / own_degrees / scale
    finite = np.isfinite(degrees)
    known = np.where(finite, degrees, 1.0)
    scatter_p = np.where(finite, fdtrc(own_degrees, known, scatter), chdtrc(own_degrees, scatter * own_degrees))
    moderated = np.where(finite, (known + own_degrees * scatter) / (known + own_degrees), 1.0)
    # own repeats are among those of the bench, so they add no degrees of freedom
    columns = (mean, np.sqrt(scale * moderated / total), np.maximum(degrees, own_degrees), np.sqrt(moderated * between))
    found = []
    for place, (k, u, nu, sd, q, p, of_scatter) in enumerate(
        zip(*(column.tolist() for column in (*columns, *_heterogeneities(values, fits), scatter_p)), strict=True)
    ):
        if of_scatter < HETEROGENEITY_LIMIT:
            found.append(_by_themselves(rows[place], orders[place], of_scatter))
            continue
        found.append(
            CombinedTrials(
                total_decay=Measured(k, u, nu),
                weights=_in_given_order(share[place].tolist(), orders[place]),
                between_trial_sd_per_h=sd,
                between_trial_source=OWN_AND_ASSUMED if benches[place].mostly_assumed else OWN_AND_BENCH,
                cochran_q=q,
                heterogeneity_p=p,
                i_squared=max(0.0, (q - own_degrees) / q) if q > 0 else 0.0,
                heterogeneous=False,
                scatter_p=of_scatter,
            )
        )
    return found


def _heterogeneities(values: Floats, fits: Floats) -> tuple[Floats, Floats]:
    """Cochran's Q of each row and its probability, as in `heterogeneity`."""
    mean = (values / fits).sum(axis=1) / (1.0 / fits).sum(axis=1)
    q = ((values - mean[:, None]) ** 2 / fits).sum(axis=1)
    return q, chdtrc(values.shape[1] - 1, q)


def _in_given_order(weights: Sequence[float], order: Sequence[int]) -> tuple[float, ...]:
    weight_of = dict(zip(order, weights, strict=True))
    return tuple(weight_of[place] for place in range(len(order)))


def _of_trial(of_fits: Floats, between: Floats, degrees: Floats) -> tuple[Floats, Floats]:
    """`total_variance` of fit and spread for each row: scale over mean, and degrees of freedom."""
    mean = of_fits + between
    spread = 2 * between**2 / (degrees - 4)
    total = np.where(spread > 0, 4 + 2 * mean**2 / np.where(spread > 0, spread, 1.0), np.inf)
    finite = np.isfinite(total)
    known = np.where(finite, total, 1.0)
    return np.where(finite, (known - 2) / known, 1.0), total


def _by_themselves(rates: Sequence[Measured], order: Sequence[int], scatter_p: float) -> CombinedTrials:
    """Trials that differ by more than repeats do."""
    combined = random_effects([rate.value for rate in rates], [rate.uncertainty for rate in rates])
    return CombinedTrials(
        total_decay=Measured(combined.mean, combined.uncertainty, combined.degrees_of_freedom),
        weights=_in_given_order(combined.weights, order),
        between_trial_sd_per_h=combined.between_sd,
        between_trial_source=OWN_REPEATS,
        cochran_q=combined.cochran_q,
        heterogeneity_p=combined.heterogeneity_p,
        i_squared=combined.i_squared,
        heterogeneous=True,
        scatter_p=scatter_p,
    )

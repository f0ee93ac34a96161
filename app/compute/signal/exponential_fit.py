"""Rate of a single exponential towards a background, with an interval that is valid under autocorrelation.

.. math:: C(t) = C_b + A e^{-k t} + e(t)

e is the sum of an AR(1) series with a standard deviation proportional to √(C² + c0²) and of the independent
error of rounding. The posterior is tabulated over the rate and the autocorrelation
and summed over the latter. So the interval includes the uncertainty of the autocorrelation instead
of relying on one estimate of it.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from app.compute.signal.autocorrelation import Whitener, whitener
from app.compute.signal.blocks import Blocks
from app.compute.signal.exponential import exponential
from app.compute.signal.fitting import scaled_inverse
from app.compute.signal.logger_noise import GENERIC, LoggerNoise
from app.compute.signal.noise import Floats, NoiseModel, evenly_spaced
from app.compute.signal.noise_settings import (
    BlockNoise,
    Mixture,
    NoiseSettings,
    noise_of_blocks,
    noise_settings,
)
from app.compute.signal.rate_table import (
    BackgroundBounds,
    log_probability,
    nodes_needed,
    rate_sums,
    weights_over_range,
)

RISING = -np.geomspace(3.0, 0.01, 8)  # over the length of the window
FASTEST_PER_H = 90.0
FASTEST_PER_INTERVAL = 5.0  # a decay to e⁻⁵ from one value to the next cannot be distinguished from a faster one
NEAR = np.geomspace(0.5, 2.0, 13)  # of the rate of the previous fit: search range of the next
BETWEEN = np.linspace(0.0, 1.0, 11)
NEAR_RATE = np.array([-0.1, -0.03, -0.01, -0.003, -0.001, 0.0, 0.001, 0.003, 0.01, 0.03, 0.1])
GRID_POINTS = 29
FEW = (0.25, 0.75)  # places in the autocorrelations that determine the width of the table
MIDDLE = 0.4  # place of the one that sets the width in which it is looked for
FEWEST_HELD = 5  # grid points that must carry the probability
DROP = 11.0  # the table ends where the log probability is this far below its maximum


@dataclass(frozen=True, slots=True)
class QuickFit:
    """Weighted least-squares curve without an interval: rate [1/h], background, amplitude at time zero."""

    rate: float
    background: float
    amplitude: float

    def level(self, time: Floats) -> Floats:
        return self.background + self.amplitude * exponential(self.rate, time)


@dataclass(frozen=True, slots=True)
class ExponentialFit:
    """Rate [1/h], its uncertainty and degrees of freedom; amplitude at the first block's time.

    at_least : 2.5 % point of the rate's own probability, which may be asymmetric
    residuals : of the blocks, over their expected standard deviation
    spread : root mean square of those residuals
    likelihood : log likelihood of each kind of noise
    inverse : of the covariance of the noise
    """

    rate: float
    uncertainty: float
    degrees_of_freedom: float
    at_least: float
    background: float
    amplitude: float
    covariance: Floats
    autocorrelation: float
    spread: float
    noise: NoiseModel
    residuals: Floats
    start: QuickFit
    likelihood: Floats
    inverse: Whitener


def coarse_rates(time: Floats) -> Floats:
    """Rates [1/h] from the fastest plausible rise to a fall within one reading. `time` starts at zero."""
    span = max(float(time[-1]), 1e-9)
    fastest = min(FASTEST_PER_H, FASTEST_PER_INTERVAL * (time.size - 1) / span)
    falling = np.exp(evenly_spaced(math.log(0.01 / span), math.log(fastest), 40))
    rates: Floats = np.concatenate([RISING / span, falling])
    return rates


def quick_fit(blocks: Blocks, bounds: BackgroundBounds, before: QuickFit | None = None) -> QuickFit:
    """Best curve by weighted least squares, without an interval.

    before : a fit of nearly the same readings: its curve gives the weights and its rate the search range
    """
    time = blocks.time_h - blocks.time_h[0]
    level = blocks.level
    top = max(float(np.abs(level).max()), 1e-12)
    sigma = np.maximum(np.abs(level if before is None else before.level(time)), 0.05 * top)
    weight = blocks.share / (sigma**2 + blocks.rounding**2)
    both = np.array([weight, weight * level])
    s1, sy = both.sum(axis=1).tolist()
    earlier = -time[:, None]
    rates = coarse_rates(time) if before is None or before.rate <= 0 else before.rate * NEAR
    for turn in range(5):
        decayed = np.exp(earlier * rates)
        s2, sdy = both @ decayed
        sdd = weight @ (decayed * decayed)
        det = np.maximum(s1 * sdd - s2 * s2, 1e-12 * s1 * sdd)
        background = np.minimum(np.maximum((sdd * sy - s2 * sdy) / det, bounds.low), bounds.high)
        above = sdy - s2 * background
        amplitude = above / sdd
        # the sum of weighted squares of residuals, without the part that all rates share
        loss = background * (s1 * background - 2 * sy) - amplitude * above
        best = int(loss.argmin())
        if turn < 3:
            low, high = rates[max(best - 1, 0)], rates[min(best + 1, rates.size - 1)]
            rates = low + (high - low) * BETWEEN
        elif turn == 3:
            rates = np.array([rates[best], _lowest_of_parabola(rates, loss, best)])
    return QuickFit(float(rates[best]), float(background[best]), float(amplitude[best]))


def _lowest_of_parabola(rates: Floats, loss: Floats, best: int) -> float:
    """Rate at the minimum of the parabola through the best rate and its neighbours."""
    if best == 0 or best == rates.size - 1:
        return float(rates[best])
    before, here, after = (float(v) for v in loss[best - 1 : best + 2])
    curvature = before - 2 * here + after
    step = 0.5 * (before - after) / curvature if curvature > 0 else 0.0
    return float(rates[best] + step * (rates[best] - rates[best - 1]))


def fit_exponential(
    blocks: Blocks, bounds: BackgroundBounds, start: QuickFit, of_logger: LoggerNoise = GENERIC
) -> ExponentialFit:
    """Fit block means; the first block's time is the zero of the amplitude. Needs at least four blocks."""
    time = blocks.time_h - blocks.time_h[0]
    level = blocks.level
    noise = noise_of_blocks(blocks, start.level(time))
    settings = noise_settings(blocks)
    rates, table = _table(time, level, noise, bounds, start.rate, settings)
    highest = table.max(axis=1)
    density = np.exp(table - highest[:, None])
    total = density.sum(axis=1)
    likelihood = settings.of_kinds(highest + np.log(total))
    by_setting = settings.of_rows(of_logger.probability * np.exp(likelihood - likelihood.max()))
    rate, half_95, half_68, at_least = _middle_and_widths(rates, (by_setting / total) @ density)
    autocorrelation, neighbours, mixture = _likeliest(by_setting, settings)
    model = noise.model(mixture, neighbours)
    dof = _degrees_of_freedom(half_95 / half_68 if half_68 > 0 else 1.96)
    uncertainty = half_95 / float(stdtrit(dof, 0.975))
    inverse = whitener(model, autocorrelation)
    background, amplitude, covariance = linear_part(time, level, inverse, bounds, rate)
    curve = background + amplitude * exponential(rate, time)
    residuals = (level - curve) / np.hypot(model.correlated, model.independent)
    factor = np.ones(3)
    factor[2] = uncertainty / math.sqrt(covariance[2, 2]) if covariance[2, 2] > 0 else 1.0
    return ExponentialFit(
        rate=rate,
        uncertainty=uncertainty,
        degrees_of_freedom=dof,
        at_least=at_least,
        background=background,
        amplitude=amplitude,
        covariance=covariance * (factor[:, None] * factor),
        autocorrelation=autocorrelation,
        spread=math.sqrt(float(residuals @ residuals) / max(level.size - 3, 1)),
        noise=model,
        residuals=residuals,
        start=start,
        likelihood=likelihood,
        inverse=inverse,
    )


def linear_part(
    time: Floats, level: Floats, inverse: Whitener, bounds: BackgroundBounds, rate: float
) -> tuple[float, float, Floats]:
    """Background, amplitude, and covariance of (background, amplitude, rate) by generalised least squares."""
    background, amplitude, information = _information(time, level, inverse, bounds, rate)
    return background, amplitude, scaled_inverse(information)


def _information(
    time: Floats, level: Floats, inverse: Whitener, bounds: BackgroundBounds, rate: float
) -> tuple[float, float, Floats]:
    """Background, amplitude, and the inverse of the covariance of (background, amplitude, rate)."""
    decayed = exponential(rate, time)
    columns = np.empty((3, time.size))
    columns[0], columns[1], columns[2] = 1.0, decayed, time * decayed
    solved = inverse.times(columns.T)
    normal = columns @ solved
    (one_one, one_decayed, _), (_, decayed_decayed, _), _ = normal.tolist()
    one_level, decayed_level, _ = (solved.T @ level).tolist()
    given = bounds.given is not None
    known = bounds.given_uncertainty if given else max(bounds.high - bounds.low, 1e-300) / math.sqrt(12)
    held = 1.0 / max(known, 1e-9 * max(abs(bounds.high), 1e-9)) ** 2
    a11 = one_one + (held if given else 0.0)
    b1 = one_level + (held * bounds.given if bounds.given is not None else 0.0)
    det = a11 * decayed_decayed - one_decayed**2
    background = (decayed_decayed * b1 - one_decayed * decayed_level) / det if det > 0 else bounds.low
    background = min(max(background, bounds.low), bounds.high)
    amplitude = (decayed_level - one_decayed * background) / max(decayed_decayed, 1e-300)
    turn = np.array([1.0, 1.0, -amplitude if amplitude != 0 else 1e-12])
    information = normal * (turn[:, None] * turn)
    information[0, 0] += held
    return background, amplitude, information


def _table(
    time: Floats, level: Floats, noise: BlockNoise, bounds: BackgroundBounds, rate: float, settings: NoiseSettings
) -> tuple[Floats, Floats]:
    """Log likelihood over a grid of rates wide enough for all of it (columns), and over noise settings (rows)."""
    last = settings.autocorrelations.size - 1
    ends = [round(place * last) for place in FEW]
    middle = round(MIDDLE * last)
    rows = settings.noise_rows(noise)
    rates = _nearby_rates(time, level, rows.model(middle), bounds, rate, float(settings.autocorrelations[middle]))
    whole = None
    if nodes_needed(rates, float(time[-1])) is not None:
        # the table is a part of this range in nearly all trials, so the same sums give both
        whole = rate_sums(rates, time, level, noise, bounds, rows, settings.block_s)
    for turn in range(5):
        if whole is not None and turn == 0:
            of_few = whole.of_rows([0, *(2 + end for end in ends)])
        else:
            of_few = rate_sums(rates, time, level, noise, bounds, rows.some(ends), None)
        weights = weights_over_range(of_few.rates.size, rates.size) if turn == 0 and whole is not None else None
        marginal = log_probability(rates, of_few, bounds, weights).max(axis=0)
        held = (marginal > marginal.max() - DROP).nonzero()[0]
        ends_outside = turn == 0 and (held[0] == 0 or held[-1] == rates.size - 1)
        if ends_outside:
            whole = None
            rates = np.unique(np.concatenate([coarse_rates(time), rate + max(abs(rate), 0.01) * NEAR_RATE]))
            continue
        first, beyond = max(int(held[0]) - 1, 0), min(int(held[-1]) + 1, rates.size - 1)
        rates = evenly_spaced(float(rates[first]), float(rates[beyond]), GRID_POINTS)
        if held.size >= FEWEST_HELD:
            break
    if whole is None:
        whole = rate_sums(rates, time, level, noise, bounds, rows, settings.block_s)
    return rates, log_probability(rates, whole, bounds)


def _likeliest(weight: Floats, settings: NoiseSettings) -> tuple[float, float, Mixture]:
    """The likeliest mixture of a single memory, and under it the mean autocorrelation and correlation of neighbours."""
    table = weight[2:].reshape(len(settings.mixtures), -1)
    best = int(table.sum(axis=1).argmax())
    share = table[best] / (float(weight[0] + table[best].sum()) + 1e-300)
    return float(share @ settings.autocorrelations), float(share @ settings.neighbours[best]), settings.mixtures[best]


def _nearby_rates(
    time: Floats, level: Floats, noise: NoiseModel, bounds: BackgroundBounds, rate: float, autocorrelation: float
) -> Floats:
    """A first grid around the best rate, wide enough for a well-determined rate."""
    _, amplitude, information = _information(time, level, whitener(noise, autocorrelation), bounds, rate)
    width = 0.0
    if amplitude > 0:
        # of the rate, what is left when the other two are free
        (a, b, c), (_, d, e), (_, _, own) = information.tolist()
        left = own - (d * c * c - 2 * b * c * e + a * e * e) / max(a * d - b * b, 1e-13 * a * d)
        width = 12 / math.sqrt(max(left, 1e-13 * own, 1e-300))
    width = min(max(width, 1e-4 * abs(rate)), 0.9 * max(abs(rate), 1e-3))
    return evenly_spaced(rate - width, rate + width, GRID_POINTS)


def _middle_and_widths(rates: Floats, probability: Floats) -> tuple[float, float, float, float]:
    """Median, half-widths that contain 95 % and 68.27 %, and the 2.5 % point."""
    fine = evenly_spaced(float(rates[0]), float(rates[-1]), 8 * rates.size)
    dense = np.exp(np.interp(fine, rates, np.log(np.maximum(probability, 1e-30))))
    mass = np.zeros(fine.size)
    (0.5 * (dense[1:] + dense[:-1])).cumsum(out=mass[1:])
    mass /= mass[-1]
    middle, at_least = np.interp((0.5, 0.025), mass, fine).tolist()
    widths = evenly_spaced(0.0, max(middle - float(rates[0]), float(rates[-1]) - middle), 300)
    held = np.interp(middle + widths, fine, mass) - np.interp(middle - widths, fine, mass)
    half_95, half_68 = np.interp((0.95, 0.6826895), held, widths).tolist()
    return middle, half_95, half_68, at_least


_DOF_TABLE = np.concatenate([np.linspace(1.0, 10.0, 37), np.geomspace(11.0, 3000.0, 40)])[::-1].copy()
_RATIO_TABLE = stdtrit(_DOF_TABLE, 0.975) / stdtrit(_DOF_TABLE, 0.5 + 0.6826895 / 2)


def _degrees_of_freedom(ratio: float) -> float:
    """Degrees of freedom of the Student t with this ratio of 95 % and 68.27 % half-widths."""
    return float(np.interp(ratio, _RATIO_TABLE, _DOF_TABLE))

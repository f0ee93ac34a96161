r"""Departures from one exponential: speed changed, door opened, second source, mixing not finished, two rooms.

The single exponential is compared with curves that have one more feature: from a time s on another rate, at s a jump
(or a ramp of some minutes) that then decays at the same rate, or a second exponential. The first two are further
columns of a linear model about the single fit, the third is a search over pairs of rates. The gain is a ratio of
likelihoods,

.. math:: G = 2\,(\max_\varphi \ell_{with} - \max_\varphi \ell_{without})

with the autocorrelation φ and the noise fitted on both sides, because drifting noise also looks like a change of rate.
"""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.signal.autocorrelation import Whiteners, whiteners
from app.compute.signal.blocks import Blocks
from app.compute.signal.exponential import exponential
from app.compute.signal.exponential_fit import ExponentialFit
from app.compute.signal.fitting import scaled_inverses
from app.compute.signal.noise import Floats, NoiseModel, evenly_spaced
from app.compute.signal.noise_settings import FLOORS, NOISE_FLOOR
from app.compute.signal.rate_table import BackgroundBounds, possible_autocorrelations
from app.compute.signal.two_rates import best_split

FEWEST_BLOCKS = 8
BREAKS_OF_RATE = 18  # times at which a change of rate is tried; a jump is tried at every block
PASSING_SHARES = (0.04, 0.1)  # of the window: how long a passing source or open door may last
EDGE_SHARE = 0.1  # of the window at either end where no break is looked for
AUTOCORRELATIONS = [0, 2, 4, 6, 7]  # indices in the grid of possible autocorrelations
PAIR_RATES = np.geomspace(0.12, 12.0, 13)  # as multiples of the single rate
FASTER, SLOWER = np.tril_indices(PAIR_RATES.size, -1)  # of each pair of rates
PAIR_RIDGE = 1e-9  # relative, on the diagonal of the normal matrix: pairs of nearly equal rates
# About 99 % of simulated single exponentials stay below these; few blocks have heavier tails. The study in
# tests/studies/decay_coverage.py prints the false-positive rate.
BREAK_LIMIT, BREAK_LIMIT_FEW = 15.0, 320.0  # constant, and the part divided by the number of blocks
PAIR_LIMIT, PAIR_LIMIT_FEW = 12.0, 66.0
PAIR_LIMIT_GIVEN, PAIR_LIMIT_GIVEN_FEW = 12.0, 22.0  # a known background cannot act as a slow rate
FEW_BLOCKS = 20  # fewer blocks count as this many in the limit for breaks
CHANGE_LIMIT = 0.10  # smallest relative change of rate, or jump relative to the level, that is reported
WORTH_A_LOOK = 0.3  # of the limit: a smaller gain cannot reach it when the noise is estimated again
PLACED_WITHIN = 0.12  # of the window: range around the first finding in which the time of a rate change is refined
END_SHARE = 3.0  # a fast start counts as finished after this many of its time constants


@dataclass(frozen=True, slots=True)
class RateEvent:
    """A departure from one exponential.

    kind : "rate_change", "jump", "fast_start" (mixing not finished, or a second room), "slow_start" (smoke still
        coming) or "slow_tail"
    at_h : time on the clock of the blocks [h]
    change : rate after over rate before − 1; for a jump its height over the level; for a second exponential the
        share of its amplitude
    gain : twice the gain in log likelihood; limit : the limit it was compared with
    """

    kind: str
    at_h: float
    change: float
    gain: float
    limit: float


@dataclass(frozen=True, slots=True)
class _Candidate:
    kind: str
    at_h: float
    gain: float
    columns: Floats


def find_event(blocks: Blocks, fit: ExponentialFit, bounds: BackgroundBounds) -> RateEvent | None:
    """The clearest departure from one exponential in block means; None where none is significant."""
    count = blocks.time_h.size
    if count < FEWEST_BLOCKS or fit.amplitude <= 0 or fit.rate <= 0:
        return None
    time = blocks.time_h - blocks.time_h[0]
    settings = [float(v) for v in possible_autocorrelations(count)[AUTOCORRELATIONS]]
    single = noise_about(blocks, fit.start.level(time))
    inverses = whiteners(single, settings)
    breaks, without = _best_break(time, blocks.level, fit, inverses, bounds)
    pair = _best_pair(time, blocks.level, fit, inverses, bounds, without)
    break_limit = BREAK_LIMIT + BREAK_LIMIT_FEW / max(count, FEW_BLOCKS)
    pair_limit = _pair_limit(count, single, bounds)
    best, limit = (pair, pair_limit) if pair.gain / pair_limit > breaks.gain / break_limit else (breaks, break_limit)
    if best.gain < WORTH_A_LOOK * limit:
        return None
    gain, coefficients = _gain_with_own_noise(blocks, best, settings, bounds, without)
    change = _change(best, coefficients, time, fit)
    if gain < limit or abs(change) < CHANGE_LIMIT:
        return None
    if best.kind == "rate_change":
        return _placed(blocks, best, bounds, gain, limit)
    kind = best.kind if best.kind != "fast_start" or change > 0 else "slow_start"
    return RateEvent(kind, best.at_h + float(blocks.time_h[0]), change, gain, limit)


def noise_about(blocks: Blocks, curve: Floats) -> NoiseModel:
    """Noise of the blocks from the size of the residuals: correlated σ² = s² (C² + c0²), c0 by likelihood; rounding on
    top. Unlike the noise of the fit it does not depend on the memory, so curves of any memory are compared alike."""
    top = max(float(np.abs(curve).max()), 1e-12)
    squares, rounding = (blocks.level - curve) ** 2, blocks.rounding**2
    floors = FLOORS[:, None] * top
    shape = (curve[None, :] ** 2 + floors**2) / np.maximum(blocks.share, 0.25)
    scale = np.maximum(((squares - rounding) / shape).sum(axis=1) / squares.size, 1e-12)[:, None]
    variance = scale * shape + rounding
    best = int((np.log(variance) + squares / variance).sum(axis=1).argmin())
    correlated = np.maximum(np.sqrt(scale[best] * shape[best]), NOISE_FLOOR * top)
    return NoiseModel(correlated, np.maximum(blocks.rounding, 0.02 * correlated), blocks.spacing)


def _pair_limit(count: int, noise: NoiseModel, bounds: BackgroundBounds) -> float:
    of_last_block = math.hypot(float(noise.correlated[-1]), float(noise.independent[-1]))
    if bounds.given is not None and bounds.given_uncertainty <= of_last_block:
        return PAIR_LIMIT_GIVEN + PAIR_LIMIT_GIVEN_FEW / count
    return PAIR_LIMIT + PAIR_LIMIT_FEW / count


def _placed(blocks: Blocks, found: _Candidate, bounds: BackgroundBounds, gain: float, limit: float) -> RateEvent | None:
    """A change of rate, with its time and size from two fits instead of a first-order column."""
    count = blocks.time_h.size
    near = int(np.searchsorted(blocks.time_h - blocks.time_h[0], found.at_h))
    reach = max(int(PLACED_WITHIN * count), 2)
    split = best_split(blocks, bounds, near - reach, near + reach)
    if split is None or split.before_per_h <= 0:
        return None
    change = split.after_per_h / split.before_per_h - 1
    return RateEvent("rate_change", split.at_h, change, gain, limit) if abs(change) >= CHANGE_LIMIT else None


def _log_likelihood(rss: Floats, log_det: Floats | float, count: int) -> Floats:
    result: Floats = -0.5 * log_det - 0.5 * count * np.log(np.maximum(rss, 1e-4 * count))
    return result


def _held(bounds: BackgroundBounds) -> float:
    """Weight with which a known background constrains the first coefficient."""
    return 0.0 if bounds.given is None else 1.0 / max(bounds.given_uncertainty, 1e-12) ** 2


def _best_break(
    time: Floats, level: Floats, fit: ExponentialFit, inverses: Whiteners, bounds: BackgroundBounds
) -> tuple[_Candidate, float]:
    """Best change of rate, jump or passing event, and the log likelihood of the single exponential."""
    count = time.size
    decayed = exponential(fit.rate, time)
    low, high = max(int(EDGE_SHARE * count), 2), min(int((1 - EDGE_SHARE) * count), count - 3)
    jumps = slice(low, high + 1)
    columns, places = _break_columns(time, decayed, fit, low, high)
    null = np.column_stack([np.ones_like(time), decayed, time * decayed])
    residual = level - fit.background - fit.amplitude * decayed
    fixed = np.column_stack([null, residual])
    weighted = inverses.weight[:, None] * columns
    fixed_solved = inverses.times(fixed)
    product = fixed.T @ fixed_solved
    normal = product[:, :3, :3].copy()
    normal[:, 0, 0] += _held(bounds)
    solve = scaled_inverses(normal)
    right = product[:, :3, 3]
    rss = product[:, 3, 3] - ((right[:, None] @ solve)[:, 0] * right).sum(axis=1)
    tails = inverses.of_tails(decayed)
    of_tails = (fixed_solved * decayed[:, None])[:, ::-1].cumsum(axis=1)[:, ::-1].transpose(0, 2, 1)
    # a jump is the tail of the decayed curve; the block that contains it is a mixture, so that block gets a value
    # of its own
    block = slice(low - 1, high)
    of_value, of_tail = fixed_solved[:, block].transpose(0, 2, 1), of_tails[:, :, jumps]
    spike_own, spike_cross = _beyond(tails.of_value[:, block], of_value, solve, right)
    jump_own, jump_cross = _beyond(tails.own[:, jumps], of_tail, solve, right)
    both = tails.with_value_before[:, block] - ((solve @ of_value[:, :3]) * of_tail[:, :3]).sum(axis=1)
    left = np.maximum(jump_own - both**2 / spike_own, 1e-3 * jump_own)
    of_jumps = spike_cross**2 / spike_own + (jump_cross - both * spike_cross / spike_own) ** 2 / left
    whole = np.einsum("ij,ij->j", columns, weighted) - inverses.own_products(weighted)
    own, cross = _beyond(whole, fixed_solved.transpose(0, 2, 1) @ columns, solve, right)
    gained = np.concatenate([of_jumps, cross**2 / own], axis=1)
    without = float(_log_likelihood(rss, inverses.log_det, count).max())
    with_each = _log_likelihood(rss[:, None] - gained, inverses.log_det[:, None], count).max(axis=0)
    best = int(np.argmax(with_each))
    kind = "rate_change" if best >= len(places) - BREAKS_OF_RATE else "jump"
    if best <= high - low:
        first = low + best
        tail = np.where(np.arange(count) >= first, decayed, 0.0)
        more = [(np.arange(count) == first - 1).astype(float), tail]
    else:
        more = [columns[:, best - (high - low + 1)]]
    gain = 2 * (float(with_each[best]) - without)
    return _Candidate(kind, float(places[best]), gain, np.column_stack([null, *more])), without


def _beyond(whole: Floats, products: Floats, solve: Floats, right: Floats) -> tuple[Floats, Floats]:
    """Sums of squares and products that extra columns add to the single exponential.

    whole : cᵀ Ω⁻¹ c of each column; products : cᵀ Ω⁻¹ with the three columns of the exponential and the residual; the
    first axis of all is that of the autocorrelations
    """
    across = products[:, :3]
    own = np.maximum(whole - (across * (solve @ across)).sum(axis=1), 1e-6 * whole + 1e-300)
    return own, products[:, 3] - ((right[:, None] @ solve) @ across)[:, 0]


def _break_columns(time: Floats, decayed: Floats, fit: ExponentialFit, low: int, high: int) -> tuple[Floats, Floats]:
    """Columns of passing events and changes of rate (last), and the times of all breaks, jumps first [h]."""
    jumps = time[low : high + 1]
    places, shapes = [jumps], []
    for share in PASSING_SHARES:
        width = share * float(time[-1])
        begins = jumps[::2]
        if share * time.size >= 2:
            shapes.append(np.minimum(np.maximum((time[:, None] - begins) / width, 0.0), 1.0))
            places.append(begins)
    breaks = evenly_spaced(float(time[low]), float(time[high]), BREAKS_OF_RATE)
    shapes.append(-fit.amplitude * np.maximum(time[:, None] - breaks[None, :], 0.0))
    columns: Floats = np.concatenate(shapes, axis=1) * decayed[:, None]
    return columns, np.concatenate([*places, breaks])


def _best_pair(
    time: Floats,
    level: Floats,
    fit: ExponentialFit,
    inverses: Whiteners,
    bounds: BackgroundBounds,
    without: float,
) -> _Candidate:
    """Best pair of exponentials: all sums of squares come from one table of products."""
    rates = fit.rate * PAIR_RATES
    curves = np.exp(-np.minimum(np.maximum(time[:, None] * rates, 0.0), 700.0))
    columns = np.concatenate([np.ones((1, time.size)), level[None] - (bounds.given or 0.0), curves.T]).T
    product = columns.T @ inverses.times(columns)
    # the background first, which all pairs share
    level_one, curves_one = product[:, 0, 1, None], product[:, 0, 2:]
    one_one = (product[:, 0, 0, None] + _held(bounds)) * (1.0 + PAIR_RIDGE)
    of_level = product[:, 1, 2:] - curves_one * (level_one / one_one)
    of_curves = product[:, 2:, 2:] - curves_one[:, :, None] * (curves_one / one_one)[:, None, :]
    own = of_curves.diagonal(axis1=1, axis2=2) + PAIR_RIDGE * product[:, 2:, 2:].diagonal(axis1=1, axis2=2)
    of_fast, of_slow, fast_slow = of_level[:, FASTER], of_level[:, SLOWER], of_curves[:, FASTER, SLOWER]
    explained = own[:, SLOWER] * of_fast**2 - 2 * fast_slow * of_fast * of_slow + own[:, FASTER] * of_slow**2
    explained /= own[:, FASTER] * own[:, SLOWER] - fast_slow**2
    rss = product[:, 1, 1, None] - level_one**2 / one_one - explained
    best_of_each = _log_likelihood(rss, inverses.log_det[:, None], time.size).max(axis=0)
    best = int(np.argmax(best_of_each))
    fast, slow = FASTER[best], SLOWER[best]
    kind = "fast_start" if PAIR_RATES[fast] > 1.5 and abs(PAIR_RATES[slow] - 1) < 0.6 else "slow_tail"
    chosen = np.column_stack([np.ones_like(time), curves[:, slow], curves[:, fast]])
    at = END_SHARE / float(rates[fast])
    return _Candidate(kind, min(at, float(time[-1])), 2 * (float(best_of_each[best]) - without), chosen)


def _gain_with_own_noise(
    blocks: Blocks, candidate: _Candidate, settings: list[float], bounds: BackgroundBounds, without: float
) -> tuple[float, Floats]:
    """Gain with the noise estimated from the candidate's own residuals, and its coefficients."""
    level, offset = blocks.level, bounds.given or 0.0
    weight = 1 / np.maximum(np.abs(level), 0.02 * float(np.max(np.abs(level))))
    coefficients = np.linalg.lstsq(candidate.columns * weight[:, None], (level - offset) * weight, rcond=None)[0]
    noise = noise_about(blocks, candidate.columns @ coefficients + offset)
    together = np.column_stack([candidate.columns, level - offset])
    inverses = whiteners(noise, settings)
    product = together.T @ inverses.times(together)
    product[:, 0, 0] += _held(bounds)
    right = product[:, :-1, -1, None]
    found = scaled_inverses(product[:, :-1, :-1]) @ right
    # unlike the sum of squares at the minimum, it shows where the inverse is not exact
    rss = product[:, -1, -1] + (found * (product[:, :-1, :-1] @ found - 2 * right)).sum(axis=(1, 2))
    values = _log_likelihood(rss, inverses.log_det, level.size)
    best = int(values.argmax())
    return 2 * (float(values[best]) - without), found[best, :, 0]


def _change(candidate: _Candidate, coefficients: Floats, time: Floats, fit: ExponentialFit) -> float:
    """Size of the event: of the rate, of the level, or of the amplitude."""
    last = float(coefficients[-1])
    if candidate.kind == "rate_change":
        # the middle coefficients are an amplitude and its first-order change with the rate before the break
        before = fit.rate - float(coefficients[2]) / max(float(coefficients[1]), 1e-12)
        return last / before if before > 0.1 * fit.rate else last / fit.rate
    if candidate.kind == "jump":
        decayed = math.exp(-min(fit.rate * candidate.at_h, 50.0))
        return last * decayed / (fit.background + fit.amplitude * decayed)
    slow, fast = float(coefficients[1]), last
    whole = max(abs(slow) + abs(fast), 1e-12)
    return fast / whole if candidate.kind == "fast_start" else slow / whole

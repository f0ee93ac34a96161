r"""Unit on found from the break in slope, with its uncertainty.

The curve after the switch-on is fitted where it is certain and extrapolated backwards. For each possible moment the
readings before it follow a slower exponential that meets this curve there; smoke that has not yet spread to the logger
is a deficit that decays by mixing, faster once the unit stirs:

.. math:: C(t) = C_b + A\,e^{-k t}\,e^{(k - k_0)\,\min(t - \tau,\,0)} - D(t)

k0 and the mixing rates are summed over a grid, the scale of the curve and the deficit are integrated as linear terms.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from app.compute.decay.fit import Readings
from app.compute.decay.phases import Phases
from app.compute.signal.blocks import Blocks, block_means
from app.compute.signal.exponential_fit import quick_fit
from app.compute.signal.noise import Floats, evenly_spaced, quantile
from app.compute.signal.rate_table import BackgroundBounds

# All: common practice, no source; tests/studies/unit_on.py measures what they achieve.
FALLEN_SHARE = 0.7  # of the excess at the peak: below it the unit counts as running
RISEN_SHARE = 0.4  # of the peak: the unit is not switched on before the level rises through it
NEAR_PEAK_SHARE = 0.85  # of the excess: the smoke counts as ended, and the readings from there are used
LONGEST_BEFORE_H = 0.5  # readings further back say little of the moment
SETTLED_AFTER_H = 3 / 60  # readings so long after the level has fallen are used too
NATURAL_PER_H = (0.1, 0.5, 1.2)  # decay before the switch-on
NATURAL_OVER_RATE = 0.9  # at most this share of the rate with the unit on
MIXING_PER_H = (8.0, 20.0, 45.0, 90.0, 180.0)
STIRRED_FASTER = (1.0, 4.0)
DEFICIT_SHARE = 0.2  # standard deviation of the deficit over the level
SCALE_SHARE = 0.01  # standard deviation of the extrapolated curve, or the noise of one block if that is larger
LEAST_NOISE = 0.002  # of the level
CURVE_H = 0.1 / 60  # what sensor lag and stirring that no grid describes leave open
LARGEST_UNCERTAINTY_H = 3 / 60  # a moment less certain than this is not resolved
MOMENTS, MOST_BLOCKS = 61, 45
FEWEST_AFTER = 12
LOW_SHARE = 0.05  # quantile of the readings that the background of a first curve does not exceed


@dataclass(frozen=True, slots=True)
class UnitOn:
    """Moment of switch-on and its standard uncertainty [h on the log's clock].

    resolved : False where the slope changes too little or the moment lies on the rise; at_h is then the peak
    separable : False where the slope changes too little
    """

    at_h: float
    uncertainty_h: float
    resolved: bool
    separable: bool = True


@dataclass(frozen=True, slots=True)
class _Curve:
    """Decay with the unit on."""

    background: float
    amplitude: float
    rate: float
    origin_h: float

    def level(self, time_h: Floats) -> Floats:
        level: Floats = self.background + self.amplitude * np.exp(-self.rate * (time_h - self.origin_h))
        return np.maximum(level, 1e-9)


def find_unit_on(readings: Readings, phases: Phases, not_before_h: float = -math.inf) -> UnitOn | None:
    """The switch-on of a log without a mark; None where no reading before it can tell it.

    not_before_h : where a later change of slope was found, the moment from which the unit surely runs [h]
    """
    time, smooth = readings.time_h, phases.smooth
    end = int(np.searchsorted(time, phases.end_h, side="right"))
    peak = int(np.searchsorted(time, phases.peak_h))
    if peak == 0 or end - peak < FEWEST_AFTER:
        return None
    top, low = float(smooth[peak]), float(smooth[peak:end].min())
    fallen = np.flatnonzero((smooth[peak:end] <= low + FALLEN_SHARE * (top - low)) & (time[peak:end] >= not_before_h))
    running = peak + int(fallen[0]) if fallen.size else end
    late = _late_part(smooth, running, end, low + 0.02 * (top - low))
    if late.stop - late.start < FEWEST_AFTER // 2:
        return None
    curve = _late_curve(readings, late)
    if curve is None:
        return None
    near = np.flatnonzero(smooth[: peak + 1] < low + NEAR_PEAK_SHARE * (top - low))
    first = max(int(near[-1]) + 1 if near.size else 0, int(np.searchsorted(time, time[running] - LONGEST_BEFORE_H)))
    if phases.source_ended_h > phases.peak_h:  # marked: there was still smoke after the peak
        first = max(first, int(np.searchsorted(time, phases.source_ended_h)))
        if first >= running:
            return None  # the unit ran before the smoke ended: the run counts from that end
    reach_h = float(time[running]) + max(SETTLED_AFTER_H, 0.5 * float(time[running] - time[first]))
    stop = max(min(int(np.searchsorted(time, reach_h)), late.stop), min(running + 4, late.stop))
    blocks = block_means(time[first:stop], readings.level[first:stop], readings.interval_h, readings.step, MOST_BLOCKS)
    risen = np.flatnonzero(smooth[: peak + 1] < RISEN_SHARE * top)
    earliest_h = min(float(time[risen[-1]]) if risen.size else float(time[0]), float(blocks.time_h[0]))
    earliest_h = max(earliest_h, float(time[first]) - LONGEST_BEFORE_H)
    moments = evenly_spaced(earliest_h, float(time[running]), MOMENTS)
    noise, memory = _noise(readings, late, curve, blocks)
    probability = _probability(blocks, curve, moments, noise, memory)
    mean = float(probability @ moments)
    variance = float(probability @ (moments - mean) ** 2) + (moments[1] - moments[0]) ** 2 / 12
    uncertainty = math.sqrt(variance + readings.interval_h**2 / 12 + CURVE_H**2)
    if phases.smoke_start_h is None and mean - float(time[0]) < 2 * uncertainty:
        return None  # the log starts with the decay
    if uncertainty > LARGEST_UNCERTAINTY_H or mean < phases.source_ended_h:
        # on the rise nothing separates smoke that still comes from smoke that still spreads
        separable = uncertainty <= LARGEST_UNCERTAINTY_H
        uncertainty = math.hypot(uncertainty, mean - phases.source_ended_h)
        return UnitOn(phases.source_ended_h, uncertainty, resolved=False, separable=separable)
    return UnitOn(mean, uncertainty, resolved=True)


def _late_part(smooth: Floats, running: int, end: int, floor: float) -> slice:
    """Readings with the unit surely on, until the level is close to its lowest."""
    under = np.flatnonzero(smooth[running:end] <= floor)
    last = running + int(under[0]) + 1 if under.size else end
    return slice(running, max(last, min(running + 15, end)))


def _late_curve(readings: Readings, late: slice) -> _Curve | None:
    time, level = readings.time_h[late], readings.level[late]
    blocks = block_means(time, level, readings.interval_h, readings.step)
    highest = max(quantile(level, LOW_SHARE), readings.step, 1e-9)
    quick = quick_fit(blocks, BackgroundBounds(min(0.0, float(blocks.level.min())), highest), None)
    if quick.rate <= 0 or quick.amplitude <= 0:
        return None
    return _Curve(quick.background, quick.amplitude, quick.rate, float(blocks.time_h[0]))


def _noise(readings: Readings, late: slice, curve: _Curve, blocks: Blocks) -> tuple[float, float]:
    """Relative standard deviation of means as long as the blocks, and their lag-one autocorrelation."""
    spacing = float(blocks.time_h[-1] - blocks.time_h[0]) / max(blocks.time_h.size - 1, 1)
    length = max(1, round(spacing / readings.interval_h)) if readings.interval_h > 0 else 1
    time, level = readings.time_h[late], readings.level[late]
    count = max(time.size // length, 1)
    length = time.size // count
    expected = curve.level(time[: count * length].reshape(count, length).mean(axis=1))
    left = level[: count * length].reshape(count, length).mean(axis=1) / expected - 1
    high = left[expected > max(0.25 * float(expected[0]), 10 * readings.step)]
    left = high if high.size >= 4 else left[:4]
    noise = max(math.sqrt(float(left @ left) / max(left.size - 2, 1)), LEAST_NOISE)
    found = float(left[:-1] @ left[1:]) / max(float(left[:-1] @ left[:-1]), 1e-12) if left.size > 4 else 0.0
    return noise, min(max(found + (1 + 4 * max(found, 0.0)) / left.size, 0.0), 0.95)


def _probability(blocks: Blocks, curve: _Curve, moments: Floats, noise: float, memory: float) -> Floats:
    """Probability of each moment, summed over natural decay and mixing. Blocks are the first axis, so that each of
    them takes a step of the series at once for all moments and mixings."""
    time = blocks.time_h[:, None]
    from_on = time - moments
    excess_at = curve.level(moments) - curve.background
    running = curve.level(time)
    since = np.maximum(moments, time[0])  # the deficit counts from the first block
    before, after = np.minimum(time, since) - time[0], np.maximum(time - since, 0.0)
    mixings = [(mixing, faster) for mixing in MIXING_PER_H for faster in STIRRED_FASTER]
    unmixed = np.exp(np.stack([-mixing * (before + faster * after) for mixing, faster in mixings], axis=1))
    unit = 1 / (noise * math.sqrt(1 - memory * memory))  # of independent noise
    scale = _whitened(np.full(blocks.time_h.size, unit), memory)
    misfits, logs = [], []
    for natural in sorted({min(rate, NATURAL_OVER_RATE * curve.rate) for rate in NATURAL_PER_H}):
        earlier = excess_at * np.exp(np.minimum(np.maximum(-natural * from_on, 0.0), 5.0)) + curve.background
        level = np.where(from_on < 0, earlier, running)
        left = _whitened(unit * (blocks.level[:, None] / level - 1), memory)
        deficit = _whitened((-unit * (excess_at + curve.background) / level)[:, None] * unmixed, memory)
        misfit, log = _integrated(left, scale, deficit, max(noise, SCALE_SHARE))
        misfits.append(misfit)
        logs.append(log)
    table = np.concatenate(misfits)
    # a curve that none of these describes is judged by its own misfit
    inflation = max(1.0, float(table.min()) / max(blocks.time_h.size - 3, 1))
    total = -0.5 * table / inflation + np.concatenate(logs)
    weights = np.exp(total - total.max()).sum(axis=0)
    probability: Floats = weights / weights.sum()
    return probability


def _whitened(values: Floats, memory: float) -> Floats:
    """First-order autoregressive series along the first axis made independent, in place; with steps of unit variance
    every value has unit variance then."""
    if memory > 0:
        values[1:] -= memory * values[:-1]
        values[0] *= math.sqrt(1 - memory * memory)
    return values


def _integrated(left: Floats, scale: Floats, deficit: Floats, scale_sd: float) -> tuple[Floats, Floats]:
    """Least misfit over scale and deficit with their priors, and the log of the volume of what is possible; the
    deficit is not below zero. left : block, moment; deficit : block, mixing, moment"""
    of_scale = float(scale @ scale) + 1 / scale_sd**2
    of_deficit = np.einsum("bkm,bkm->km", deficit, deficit) + 1 / DEFICIT_SHARE**2
    both, by_scale = (scale @ deficit.reshape(scale.size, -1)).reshape(of_deficit.shape), scale @ left
    by_deficit = np.einsum("bkm,bm->km", deficit, left)
    determinant = of_scale * of_deficit - both * both
    free = (of_scale * by_deficit - both * by_scale) / determinant
    height = np.maximum(free, 0.0)
    shift = (by_scale - both * height) / of_scale
    misfit = np.einsum("bm,bm->m", left, left) - 2 * (shift * by_scale + height * by_deficit)
    misfit += shift**2 * of_scale + 2 * shift * height * both + height**2 * of_deficit
    spread = np.sqrt(of_scale / determinant)
    # height is at its bound where free is below zero; what is left of the volume is the tail above it
    log = -0.5 * np.log(determinant) + log_ndtr(free / spread) + 0.5 * np.minimum(free / spread, 0.0) ** 2
    return misfit, log

"""The fit window: from the end of mixing until the background is determined, and the rate in other windows."""

import math

import numpy as np

from app.compute.signal.autocorrelation import whiteners_of_parts
from app.compute.signal.exponential import exponential
from app.compute.signal.exponential_fit import ExponentialFit
from app.compute.signal.fitting import scaled_inverses
from app.compute.signal.noise import Floats
from app.compute.signal.rate_table import BackgroundBounds
from app.compute.wording.numbers import level_text

SETTLING_MIN = 2.0  # [min] left out after the later of the source's end and unit on; common practice, no source
RESPONSE_TIMES = 3.0  # response times of the logger left out: 5 % of a first-order lag is left after three
FLOOR_STEPS = 5.0  # steps of the display; the excess has to be above; common practice, no source
FLOOR_SHARE = 0.01  # share of the excess at the window's start; the excess has to be above
# Readings after the floor say nothing of the excess, but they determine the background: as long again as the decay took
# narrows the interval of the rate by a third, longer by little.
TAIL_SHARE = 1.0
FEWEST_READINGS = 4  # three parameters and one degree of freedom
KEPT_READINGS = 15  # the floor never cuts the window to fewer readings: a fast decay with slow sampling needs its tail
PLATEAU_READINGS = 5  # equal readings in a row at the highest level that suggest saturation
PLATEAU_RATIO = 5.0  # the plateau has to last this many times longer than the display steps after it
OTHER_WINDOWS = ((0.05, 1.0), (0.1, 1.0), (0.2, 1.0), (0.0, 0.75), (0.0, 0.5), (0.1, 0.75))  # shares of the window
FEWEST_BLOCKS = 8
UNINFORMATIVE_SHARE = 0.5  # of the rate, as standard uncertainty of a part's rate
# A larger change, in standard deviations, is not noise: in 98 of 100 simulated single exponentials
# (tests/studies/decay_coverage.py) the largest of the six stays below the limit, which gives a note. It is part of the
# uncertainty from less on, because late smoke seldom changes the rate by more; common practice, no source.
NOISE_LIMIT = 2.8
BACKGROUND_RATIO = 10.0  # of a given background to the highest reading: no curve falls towards it
DOUBTFUL_LIMIT = 2.0


def far_above(background: float | None, level: Floats, unit: str) -> str:
    """Why a given background leaves nothing to fit; "" where it may be one. Its square must not drown the readings."""
    highest = float(level.max())
    if background is None or background <= BACKGROUND_RATIO * max(highest, 1.0):
        return ""
    return (
        f"The background {level_text(background, unit)} is far above the highest reading after unit on, "
        f"{level_text(highest, unit)}. Correct the background, or leave it empty."
    )


def window_start_h(unit_on_h: float, source_ended_h: float, response_time_s: float | None) -> float:
    """Later of unit on and the end of the source, plus 2 min for mixing or three response times of the logger [h].

    >>> round(60 * window_start_h(0.5, 0.4, 100.0), 6)
    35.0
    """
    settling_h = max(SETTLING_MIN / 60, RESPONSE_TIMES * (response_time_s or 0.0) / 3600)
    return max(unit_on_h, source_ended_h) + settling_h


def excess_floor(step: float, excess_at_start: float) -> float:
    """Excess over the background below which a reading adds little to the rate."""
    return max(FLOOR_STEPS * step, FLOOR_SHARE * excess_at_start)


def time_to_floor_h(amplitude: float, rate_per_h: float, floor: float) -> float:
    """Hours until A exp(−k t) falls to the floor; infinite where it never does.

    >>> round(time_to_floor_h(300.0, 3.0, 3.0), 4)
    1.5351
    """
    if rate_per_h <= 0 or amplitude <= floor:
        return math.inf
    return math.log(amplitude / floor) / rate_per_h


def ceiling_of(levels: Floats) -> float | None:
    """Level at which a detector seems saturated: a plateau at the highest reading.

    A slow decay also repeats each display step for a while, so the plateau has to last several times
    longer than the steps after it. None where there is no such plateau.
    """
    if levels.size < PLATEAU_READINGS + 2:
        return None
    highest = float(levels.max())
    if np.count_nonzero(levels == highest) < PLATEAU_READINGS:
        return None
    changes = np.flatnonzero(np.diff(levels) != 0)
    starts = np.concatenate([[0], changes + 1])
    lengths = np.diff(np.append(starts, levels.size))
    at_top = levels[starts] == highest
    longest = int(np.argmax(np.where(at_top, lengths, 0)))
    following = lengths[longest + 1 : longest + 6]
    if lengths[longest] < PLATEAU_READINGS or following.size == 0:
        return None
    return highest if lengths[longest] >= PLATEAU_RATIO * float(np.median(following)) else None


def window_sensitivity(
    time: Floats, level: Floats, fit: ExponentialFit, bounds: BackgroundBounds
) -> tuple[float, float]:
    """Half the range of the rate over six other windows [1/h], and its largest change in standard deviations.

    A fit of part of the readings differs from the fit of all by noise alone with the variance
    var(part) − var(all); a larger change means that the fitted model does not describe the curve.
    """
    if time.size < FEWEST_BLOCKS:
        return 0.0, 0.0
    decayed = exponential(fit.rate, time)
    residual = level - fit.background - fit.amplitude * decayed
    columns = np.array([np.ones(time.size), decayed, -fit.amplitude * time * decayed, residual]).T
    scale = max(fit.spread, 1e-9)
    held = 0.0 if bounds.given is None else (scale / max(bounds.given_uncertainty, 1e-12)) ** 2
    ends = [(round(start * time.size), round(end * time.size)) for start, end in ((0.0, 1.0), *OTHER_WINDOWS)]
    windows = [slice(low, high) for low, high in ends]
    inverses = whiteners_of_parts(fit.noise, fit.autocorrelation, windows)
    products = np.array(
        [columns[window].T @ inverse.times(columns[window]) for window, inverse in zip(windows, inverses, strict=True)]
    )
    moves, free_moves, variances = _steps(products, held, fit.background, bounds)
    whole = float(variances[0])
    informative = scale * np.sqrt(np.maximum(variances[1:], 0.0)) <= UNINFORMATIVE_SHARE * abs(fit.rate)
    others = 1 + informative.nonzero()[0]  # the rest are too short to determine the rate
    if not others.size:
        return 0.0, 0.0
    change = np.append(moves[others] - moves[0], 0.0)
    largest = float(change.max() - change.min())
    if whole <= 0:
        return 0.5 * largest, 0.0
    more = np.sqrt(np.maximum(variances[others] / whole - 1, 0.05))
    expected = np.maximum(max(fit.uncertainty, scale * math.sqrt(whole)) * more, 1e-300)
    return 0.5 * largest, float((np.abs(free_moves[others] - free_moves[0]) / expected).max())


def _steps(products: Floats, held: float, background: float, bounds: BackgroundBounds) -> tuple[Floats, Floats, Floats]:
    """One step of least squares from the whole window's fit, for each window: change of the rate with the background
    inside its bounds, the same with the background free, and the variance of the latter, without the factor scale².
    """
    normal, right = products[:, :3, :3], products[:, :3, 3]
    normal[:, 0, 0] += held
    if bounds.given is not None:
        right[:, 0] += held * (bounds.given - background)
    inverse = scaled_inverses(normal)
    step = (inverse @ right[:, :, None])[:, :, 0]
    moved = np.minimum(np.maximum(background + step[:, 0], bounds.low), bounds.high) - background
    inside = step[:, 2].copy()
    stopped = (moved != step[:, 0]).nonzero()[0]
    if stopped.size:
        # the background stops at its bound; the other two parameters follow
        follows = right[stopped, 1:] - normal[stopped, 1:, 0] * moved[stopped, None]
        inside[stopped] = (scaled_inverses(normal[stopped, 1:, 1:]) @ follows[:, :, None])[:, 1, 0]
    return inside, step[:, 2], inverse[:, 2, 2]

"""Offset between the clocks of two loggers in the same air, by cross-correlation of their levels."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.errors import InvalidValue

Floats = NDArray[np.float64]

# All of these: common practice, no source.
SHORTEST_OVERLAP_S = 600.0
FEWEST_POINTS = 30
LEAST_CORRELATION = 0.7
LEAST_SIGNAL_OVER_NOISE = 3.0
FARTHEST_SEARCH_S = 15 * 3600.0  # of the hint only: two clocks in two time zones
_MOST_POINTS = 30_000


@dataclass(frozen=True, slots=True)
class Levels:
    """One logger's readings of one channel.

    time_s : on one time scale for all loggers, by each logger's own clock, rising [s]
    level : not-a-number where there is no usable reading
    """

    name: str
    time_s: Floats
    level: Floats

    @property
    def interval_s(self) -> float:
        return float(np.median(np.diff(self.time_s)))

    def usable(self) -> "Levels":
        """Without missing readings; raises InvalidValue where too few are left."""
        kept = np.isfinite(self.level) & np.isfinite(self.time_s)
        if int(kept.sum()) < FEWEST_POINTS:
            raise InvalidValue(
                f"The log of {self.name} has {int(kept.sum())} usable readings of this channel; a check needs "
                f"{FEWEST_POINTS}. Choose another channel or log."
            )
        return Levels(self.name, self.time_s[kept], self.level[kept])


@dataclass(frozen=True, slots=True)
class ClockOffset:
    """Clock of a logger minus that of the reference [s], with its standard uncertainty; correlation at that offset."""

    offset_s: float
    uncertainty_s: float
    correlation: float


@dataclass(frozen=True, slots=True)
class _Grid:
    """Both logs at even times, with masks (1.0 where there is a reading near)."""

    start_s: float
    step_s: float
    reference: Floats
    of_reference: Floats
    other: Floats
    of_other: Floats


def find_offset(reference: Levels, other: Levels, *, within_s: float, expected_s: float = 0.0) -> ClockOffset:
    r"""Offset at which the logs correlate best, within `within_s` of `expected_s`.

    The highest normalised cross-correlation gives the offset to one step. The least squares fit of

    .. math:: y(t) = a + b\,x(t) + g\,\dot x(t)

    refines it by g/b. Its uncertainty is that of g/b with autocorrelated residuals (Newey and West's estimator, from
    memory), with half an interval of each logger as a rectangular distribution, since a reading may stand for the
    beginning or the end of its interval.

    Raises InvalidValue where level or overlap is too small, and where the logs do not follow each other.
    """
    reference, other = reference.usable(), other.usable()
    for each in (reference, other):
        _check_signal(each)
    grid = _gridded(reference, Levels(other.name, other.time_s - expected_s, other.level))
    lags, correlation, overlap = _correlations(grid)
    enough = overlap * grid.step_s >= SHORTEST_OVERLAP_S
    near = enough & (np.abs(lags) <= within_s) & np.isfinite(correlation)
    if not near.any():
        raise InvalidValue(_no_overlap(reference, other, lags, correlation, enough, expected_s))
    best = int(np.argmax(np.where(near, correlation, -np.inf)))
    if correlation[best] < LEAST_CORRELATION:
        raise InvalidValue(
            f"The logs of {reference.name} and {other.name} do not follow each other: their highest correlation is "
            f"{correlation[best]:.2f} and at least {LEAST_CORRELATION:.1f} is needed. "
            f"Check that both were in the same air.{_hint(lags, correlation, enough, expected_s, within_s)}"
        )
    if not (0 < best < len(lags) - 1 and near[best - 1] and near[best + 1]):
        raise InvalidValue(
            f"The clocks of {reference.name} and {other.name} are further apart than the {within_s / 60:.0f} min "
            f"searched. Enter the approximate offset.{_hint(lags, correlation, enough, expected_s, within_s)}"
        )
    moved, spread = _refined(grid, round(lags[best] / grid.step_s))
    of_intervals = math.hypot(reference.interval_s, other.interval_s) / math.sqrt(12)
    return ClockOffset(
        offset_s=expected_s + float(lags[best]) + moved,
        uncertainty_s=math.hypot(spread, of_intervals),
        correlation=float(correlation[best]),
    )


def noise_of(level: Floats) -> float:
    """Standard deviation of the noise of readings, from the median of their second differences, which smooth changes
    and a few jumps hardly move (0.6745: the median of the absolute value of a standard normal variable).

    >>> noise_of(np.linspace(0.0, 100.0, 50)) < 1e-9
    True
    """
    return float(np.median(np.abs(np.diff(level, 2)))) / (0.6745 * math.sqrt(6)) if len(level) > 2 else 0.0


def _check_signal(levels: Levels) -> None:
    spread = float(np.std(levels.level))
    if spread <= 1e-9 * max(abs(float(np.mean(levels.level))), 1e-9):
        raise InvalidValue(
            f"The log of {levels.name} is constant at {levels.level[0]:g}. A check needs a level that changes; light "
            "some smoke, or choose another channel."
        )
    noise = noise_of(levels.level)
    if spread < LEAST_SIGNAL_OVER_NOISE * noise:
        raise InvalidValue(
            f"The level in the log of {levels.name} varies by {spread:.3g} (standard deviation), less than "
            f"{LEAST_SIGNAL_OVER_NOISE:.0f} times its noise of {noise:.3g}. The clocks cannot be aligned by it; let "
            "the level rise and fall more."
        )


def _gridded(reference: Levels, other: Levels) -> _Grid:
    start = min(reference.time_s[0], other.time_s[0])
    end = max(reference.time_s[-1], other.time_s[-1])
    step = max(min(reference.interval_s, other.interval_s), (end - start) / _MOST_POINTS, 0.1)
    at = np.arange(start, end + step / 2, step)
    (x, of_x), (y, of_y) = _on_grid(reference, at), _on_grid(other, at)
    return _Grid(float(start), float(step), x, of_x, y, of_y)


def _on_grid(levels: Levels, at: Floats) -> tuple[Floats, Floats]:
    after = np.clip(np.searchsorted(levels.time_s, at), 1, len(levels.time_s) - 1)
    gap = levels.time_s[after] - levels.time_s[after - 1]
    inside = (at >= levels.time_s[0]) & (at <= levels.time_s[-1]) & (gap <= 3.5 * levels.interval_s)
    values = np.interp(at, levels.time_s, levels.level) - float(np.mean(levels.level))
    return np.where(inside, values, 0.0), inside.astype(np.float64)


def _correlations(grid: _Grid) -> tuple[Floats, Floats, Floats]:
    """Lags [s] of the other log behind the reference, Pearson's correlation over what is common, and common points."""
    size = 1 << (2 * len(grid.reference)).bit_length()

    def crossed(one: Floats, two: Floats) -> Floats:
        found: Floats = np.fft.irfft(np.conj(np.fft.rfft(one, size)) * np.fft.rfft(two, size), size)
        half = len(one) - 1
        return np.concatenate([found[-half:], found[: half + 1]]) if half else found[:1]

    x, mx, y, my = grid.reference, grid.of_reference, grid.other, grid.of_other
    common: Floats = np.maximum(np.round(crossed(mx, my)), 0.0)
    number = np.maximum(common, 1.0)
    sum_x, sum_y = crossed(x, my), crossed(mx, y)
    covariance = crossed(x, y) - sum_x * sum_y / number
    var_x = crossed(x * x, my) - sum_x**2 / number
    var_y = crossed(mx, y * y) - sum_y**2 / number
    # a stretch in which one log hardly changes has no correlation, only rounding
    has_signal = (var_x > 1e-6 * np.sum(x * x)) & (var_y > 1e-6 * np.sum(y * y)) & (common >= FEWEST_POINTS)
    below = np.sqrt(np.where(has_signal, var_x * var_y, 1.0))
    lags: Floats = (np.arange(len(common), dtype=np.float64) - (len(x) - 1)) * grid.step_s
    found: Floats = np.where(has_signal, covariance / below, -np.inf)
    return lags, found, common


def _refined(grid: _Grid, steps: int) -> tuple[float, float]:
    """Further offset [s], and its standard uncertainty without that of the intervals."""
    x, y, kept = _shifted(grid, steps)
    slope = np.gradient(x, grid.step_s)
    kept &= np.isfinite(slope)
    design = np.stack([np.ones(int(kept.sum())), x[kept], slope[kept]], axis=1)
    inverse = np.linalg.pinv(design.T @ design)
    found = inverse @ design.T @ y[kept]
    residual = y[kept] - design @ found
    scores = design * residual[:, None]
    middle = scores.T @ scores
    reach = math.ceil(math.sqrt(len(residual)))
    for lag in range(1, min(reach, len(residual) - 1)):
        crossed = scores[lag:].T @ scores[:-lag]
        middle += (1 - lag / reach) * (crossed + crossed.T)
    covariance = inverse @ middle @ inverse
    gain = found[1] if abs(found[1]) > 1e-12 else 1e-12
    # y(t) = a + b x(t - moved), so the coefficient of the slope is -b times the move
    moved = float(np.clip(-found[2] / gain, -grid.step_s, grid.step_s))
    return moved, float(math.sqrt(max(covariance[2, 2], 0.0)) / abs(gain))


def _shifted(grid: _Grid, steps: int) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Reference and other log at the same true times, and where both have readings."""
    n = len(grid.reference)
    first, last = max(0, -steps), min(n, n - steps)
    ours, theirs = slice(first, last), slice(first + steps, last + steps)
    kept = (grid.of_reference[ours] > 0) & (grid.of_other[theirs] > 0)
    return grid.reference[ours], grid.other[theirs], kept


def _no_overlap(
    reference: Levels, other: Levels, lags: Floats, correlation: Floats, enough: NDArray[np.bool_], expected_s: float
) -> str:
    both = min(reference.time_s[-1], other.time_s[-1] - expected_s) - max(
        reference.time_s[0], other.time_s[0] - expected_s
    )
    return (
        f"The logs of {reference.name} and {other.name} share {max(both, 0.0) / 60:.0f} min of their clocks in which "
        f"the level changes; a check needs {SHORTEST_OVERLAP_S / 60:.0f} min. Choose logs of the same stretch of time."
        f"{_hint(lags, correlation, enough, expected_s, 0.0)}"
    )


def _hint(lags: Floats, correlation: Floats, enough: NDArray[np.bool_], expected_s: float, searched_s: float) -> str:
    """Where the logs would fit further away, as two clocks in two time zones do; nothing is assumed from it."""
    far = enough & (np.abs(lags) > searched_s) & (np.abs(lags) <= FARTHEST_SEARCH_S)
    if not (far & (correlation >= 0.9)).any():
        return ""
    best = int(np.argmax(np.where(far, correlation, -np.inf)))
    offset = expected_s + float(lags[best])
    return (
        f" Shifted by {offset:.0f} s ({offset / 3600:.2f} h) they would correlate at {correlation[best]:.2f}: if one "
        "clock or time zone is wrong, enter this as the approximate offset."
    )

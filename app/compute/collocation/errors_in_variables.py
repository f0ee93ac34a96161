"""Straight line through points with errors in both coordinates."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.measured import Measured

Floats = NDArray[np.float64]
_MOST_STEPS = 100


@dataclass(frozen=True, slots=True, eq=False)
class YorkLine:
    """y = intercept + slope x.

    slope_error, intercept_error : standard errors from the given uncertainties alone
    scale : root of the weighted sum of squares over n - 2; 1 where the given uncertainties explain the scatter
    weights, residuals : of each point; the residuals are weighted
    """

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    scale: float
    weights: Floats
    residuals: Floats
    converged: bool


def york_line(x: Floats, y: Floats, x_uncertainty: Floats, y_uncertainty: Floats) -> YorkLine:
    r"""Least squares line with uncertainties in both coordinates, not correlated with each other. [1]_

    .. math:: S = \sum W_i (y_i - a - b x_i)^2, \qquad W_i = \frac{1}{u_{y,i}^2 + b^2 u_{x,i}^2}

    Raises ValueError for fewer than three points or an uncertainty of zero.

    References
    ----------
    .. [1] D. York, N. M. Evensen, M. López Martínez, J. De Basabe Delgado, "Unified equations for the slope, intercept,
       and standard errors of the best straight line", American Journal of Physics 72, 367-375, 2004; from memory.
       Pearson's data with York's weights and scipy.odr check it.

    >>> x, y = np.array([0.0, 1.0, 2.0, 3.0]), np.array([1.0, 3.0, 5.0, 7.0])
    >>> line = york_line(x, y, np.full(4, 0.1), np.full(4, 0.1))
    >>> round(line.slope, 6), round(line.intercept, 6)
    (2.0, 1.0)
    """
    if len(x) < 3:
        raise ValueError(f"A line with errors in both coordinates needs 3 points; found {len(x)}.")
    if not (np.all(x_uncertainty > 0) and np.all(y_uncertainty > 0)):
        raise ValueError("The uncertainty of a coordinate is zero; each must be above zero.")
    of_x, of_y = 1 / x_uncertainty**2, 1 / y_uncertainty**2
    slope = float(np.polyfit(x, y, 1)[0])
    converged = False
    for _ in range(_MOST_STEPS):
        weights = of_x * of_y / (of_x + slope**2 * of_y)
        mean_x, mean_y = float(np.average(x, weights=weights)), float(np.average(y, weights=weights))
        u, v = x - mean_x, y - mean_y
        beta = weights * (u / of_y + slope * v / of_x)
        below = float(np.sum(weights * beta * u))
        new = float(np.sum(weights * beta * v)) / below if below else slope
        converged = abs(new - slope) <= 1e-12 * max(abs(new), 1e-12)
        slope = new
        if converged:
            break
    intercept = mean_y - slope * mean_x
    adjusted = mean_x + beta
    centre = float(np.average(adjusted, weights=weights))
    slope_variance = 1 / float(np.sum(weights * (adjusted - centre) ** 2))
    residuals = np.sqrt(weights) * (y - intercept - slope * x)
    return YorkLine(
        slope=slope,
        intercept=intercept,
        slope_error=math.sqrt(slope_variance),
        intercept_error=math.sqrt(1 / float(np.sum(weights)) + centre**2 * slope_variance),
        scale=math.sqrt(float(np.sum(residuals**2)) / max(len(x) - 2, 1)),
        weights=weights,
        residuals=residuals,
        converged=converged,
    )


def noise_model(x: Floats) -> Floats:
    """Standard uncertainty of each value of a smooth series: a constant and a proportional part, from second
    differences, by non-negative least squares. Never below the resolution over √12.
    """
    from scipy.optimize import nnls  # loaded when used: pages without a new check do not need it

    squares, middle = np.diff(x, 2) ** 2 / 6, x[1:-1] ** 2
    floor = resolution(x) / math.sqrt(12)
    spread = squares + np.median(squares) + floor**2 + 1e-18
    for _ in range(3):  # weights from the model of the step before; a square of noise varies as its own mean
        parts, _ = nnls(np.stack([1 / spread, middle / spread], axis=1), squares / spread)
        spread = np.maximum(parts[0] + parts[1] * middle, floor**2 + 1e-12 * float(np.mean(middle)) + 1e-18)
    least = floor**2 + 1e-8 * float(np.mean(x**2)) + 1e-18
    found: Floats = np.sqrt(np.maximum(parts[0] + parts[1] * x**2, least))
    return found


def resolution(x: Floats) -> float:
    """Smallest step between different values.

    >>> resolution(np.array([1.0, 1.5, 1.0, 3.0]))
    0.5
    """
    steps = np.diff(np.unique(np.round(x, 9)))
    return float(steps.min()) if len(steps) else 0.0


def effective_number(residuals: Floats) -> float:
    """Number of independent residuals with the same information as these, of a first-order autoregression.

    >>> effective_number(np.array([1.0, -1.0] * 20))
    40.0
    """
    total = float(np.sum(residuals**2))
    if total <= 0:
        return float(len(residuals))
    lag_one = float(np.sum(residuals[1:] * residuals[:-1])) / total
    # the estimate is too small by about (1 + 4 r)/n (Marriott and Pope 1954, from memory)
    lag_one = min(max(lag_one + (1 + 4 * max(lag_one, 0.0)) / len(residuals), 0.0), 0.95) if lag_one > 0 else 0.0
    return len(residuals) * (1 - lag_one) / (1 + lag_one)


@dataclass(frozen=True, slots=True)
class CalibrationLine:
    """Line of a logger against the reference, with intervals for the scatter found.

    curvature : coefficient c of y = a + b x + c x²
    """

    slope: Measured
    intercept: Measured
    curvature: Measured
    effective_points: float


def calibration_line(x: Floats, y: Floats) -> tuple[CalibrationLine, YorkLine]:
    """Slope, intercept and quadratic term of levels y against levels x, each with noise estimated from the levels.

    Standard errors are scaled to the scatter about the line and to the number of independent residuals.
    """
    line = york_line(x, y, noise_model(x), noise_model(y))
    number = max(effective_number(line.residuals), 4.0)
    wider = line.scale * math.sqrt(len(x) / number)
    # against the measured x: those adjusted to the straight line would hide part of a curve
    root = np.sqrt(line.weights)
    at = x - float(np.mean(x))
    design = np.stack([np.ones(len(x)), at, at**2], axis=1) * root[:, None]
    scaled = design / np.linalg.norm(design, axis=0)
    found = np.linalg.lstsq(scaled, y * root, rcond=None)[0] / np.linalg.norm(design, axis=0)
    left = y * root - design @ found
    inverse = np.linalg.pinv(scaled.T @ scaled)
    of_curve = math.sqrt(float(np.sum(left**2)) / max(len(x) - 3, 1))
    number_of_curve = max(effective_number(left), 4.0)
    error = of_curve * math.sqrt(inverse[2, 2] * len(x) / number_of_curve) / float(np.linalg.norm(design[:, 2]))
    return (
        CalibrationLine(
            slope=Measured(line.slope, line.slope_error * wider, number - 2),
            intercept=Measured(line.intercept, line.intercept_error * wider, number - 2),
            curvature=Measured(float(found[2]), error, number_of_curve - 3),
            effective_points=number,
        ),
        line,
    )

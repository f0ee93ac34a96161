"""Least squares, linear and nonlinear, with standard errors."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg.lapack import dgesv

Floats = NDArray[np.float64]

MOST_STEPS = 500
SMALL_STEP = 1e-10  # relative change of every parameter below which the fit counts as converged
DAMPING_START, DAMPING_UP, DAMPING_DOWN = 1.0, 10.0, 0.1
DAMPING_MOST = 1e16


@dataclass(frozen=True, slots=True)
class LeastSquaresFit:
    """Result of a least-squares fit.

    best, standard_errors : of the parameters, in their order
    covariance : of the parameters
    residual_sum_of_squares : weighted, where weights were given
    residual_sd : √(residual sum / degrees of freedom); not-a-number without degrees of freedom
    fit_converged, why_not : whether the search ended at a minimum, and a sentence if not
    """

    best: Floats
    standard_errors: Floats
    covariance: Floats
    residual_sum_of_squares: float
    residual_sd: float
    degrees_of_freedom: int
    fit_converged: bool
    why_not: str


def fit_linear(design: ArrayLike, y: ArrayLike, weights: ArrayLike | None = None) -> LeastSquaresFit:
    r"""Linear least squares by an orthogonal decomposition.

    .. math:: \min_b \sum_i w_i (y_i - \sum_j X_{ij} b_j)^2, \qquad u(b) = \sqrt{s^2 (X^T W X)^{-1}_{jj}}

    Parameters
    design : one row for each value, one column for each parameter
    y : values
    weights : 1/variance of each value up to a common factor; equal by default

    Raises   ValueError where the sizes do not fit, a value is not a number, or the columns depend on one another

    >>> line = fit_linear([[1, 0], [1, 1], [1, 2], [1, 3]], [1.0, 3.1, 4.9, 7.0])
    >>> line.best.round(3), line.standard_errors.round(3)
    (array([1.03, 1.98]), array([0.079, 0.042]))
    """
    columns, values, root = _checked(design, y, weights)
    weighted = columns * root[:, None]
    size = np.sqrt((weighted**2).sum(axis=0))
    if not np.all(size > 0) or np.linalg.matrix_rank(weighted / np.where(size > 0, size, 1.0)) < columns.shape[1]:
        raise ValueError(
            f"The {columns.shape[1]} columns of the design depend on one another, so the parameters have no single "
            "best value. Leave out a column."
        )
    q, r = np.linalg.qr(weighted / size)
    best = np.linalg.solve(r, q.T @ (values * root)) / size
    # one step of refinement, because residuals of ill-scaled designs (powers of x) lose digits otherwise
    best = best + np.linalg.solve(r, q.T @ ((values - columns @ best) * root)) / size
    residual = (values - columns @ best) * root
    inverse = np.linalg.inv(r)
    return _result(best, inverse @ inverse.T / np.outer(size, size), residual, True, "")


def fit_least_squares(
    model: Callable[..., Floats],
    x: ArrayLike,
    y: ArrayLike,
    start: ArrayLike,
    weights: ArrayLike | None = None,
) -> LeastSquaresFit:
    """Nonlinear least squares by damped Gauss-Newton steps (Levenberg-Marquardt).

    Parameters
    model : function of x and the parameters, one argument for each, that returns the values
    start : first values of the parameters
    weights : 1/variance of each value up to a common factor; equal by default

    Returns  best values, and standard errors from the curvature at the minimum; `fit_converged` is False with a
        sentence in `why_not` where the search did not reach it

    Raises   ValueError where the sizes do not fit or a value is not a number

    >>> x = np.array([0.0, 1.0, 2.0, 3.0])
    >>> decay = fit_least_squares(lambda x, a, k: a * np.exp(-k * x), x, [8.0, 4.1, 1.9, 1.0], start=[5.0, 0.2])
    >>> decay.best.round(3), decay.fit_converged
    (array([8.024, 0.695]), True)
    """
    at = np.asarray(x, dtype=float)
    best = np.array(start, dtype=float).ravel()
    _, values, root = _checked(np.ones((np.size(y), max(best.size, 1))), y, weights)
    if best.size == 0 or not np.all(np.isfinite(best)):
        raise ValueError(f"The start values are {best.tolist()}; one number for each parameter is needed.")

    def residuals(parameters: Floats) -> Floats:
        with np.errstate(all="ignore"):  # a wild step is rejected below, without a warning
            left: Floats = (values - np.asarray(model(at, *parameters), dtype=float)) * root
        return left

    residual = residuals(best)
    damping, converged = DAMPING_START, False
    if not math.isfinite(_sum_of_squares(residual)):
        why = f"The model gives no number at the start values {best.tolist()}. Choose others."
        return _result(best, np.full((best.size, best.size), np.nan), residual, False, why)
    for _ in range(MOST_STEPS):
        better = _better_step(residuals, best, residual, damping)
        if better is None:
            converged = True  # no step improves it: the minimum to rounding
            break
        step, residual, damping = better
        best, damping = best + step, max(damping * DAMPING_DOWN, 1e-14)
        if bool(np.all(np.abs(step) <= SMALL_STEP * (np.abs(best) + 1e-300))):
            converged = True
            break
    jacobian = _jacobian(residuals, best)
    why = (
        ""
        if converged
        else (f"After {MOST_STEPS} steps the best values had not converged. Start closer to the solution.")
    )
    loose = _not_fixed(jacobian, best)
    if loose is not None:
        why = f"The values do not determine parameter {loose + 1} near {best[loose]:.3g}. Start closer to the solution."
    return _result(best, scaled_inverse(jacobian.T @ jacobian), residual, not why, why)


def _better_step(
    residuals: Callable[[Floats], Floats], best: Floats, residual: Floats, damping: float
) -> tuple[Floats, Floats, float] | None:
    """The first step that makes the sum of squares no larger, with its residuals and damping; None if none does."""
    jacobian = _jacobian(residuals, best)
    normal, gradient = jacobian.T @ jacobian, jacobian.T @ residual
    scale = np.maximum(np.diag(normal), 1e-300)
    loss = _sum_of_squares(residual)
    while damping < DAMPING_MOST:
        step = -_solve(normal + damping * np.diag(scale), gradient)
        tried = residuals(best + step)
        tried_loss = _sum_of_squares(tried)
        if math.isfinite(tried_loss) and tried_loss <= loss:
            return step, tried, damping
        damping *= DAMPING_UP
    return None


def scaled_inverse(matrix: Floats) -> Floats:
    """Inverse of a symmetric matrix of sums of products, scaled to a unit diagonal first.

    A direction that the data do not determine gets a very large variance instead of an error.
    """
    size = np.sqrt(np.maximum(matrix.diagonal(), 1e-200))
    scale = size[:, None] * size
    scaled = matrix / scale
    scaled.ravel()[:: size.size + 1] += 1e-13
    # LAPACK itself: the checks of numpy.linalg.inv take several times as long as the inverse of a small matrix
    _, _, inverse, is_singular = dgesv(scaled, _identity(size.size))
    if is_singular:
        inverse = np.linalg.pinv(scaled)
    result: Floats = inverse / scale
    return result


def scaled_inverses(matrices: Floats) -> Floats:
    """The same for a stack of matrices, along the first axis."""
    size = np.sqrt(np.maximum(np.einsum("kii->ki", matrices), 1e-200))
    scale = size[:, :, None] * size[:, None, :]
    scaled = matrices / scale + 1e-13 * _identity(size.shape[1])
    try:
        inverse = np.linalg.inv(scaled)
    except np.linalg.LinAlgError:
        inverse = np.linalg.pinv(scaled)
    result: Floats = inverse / scale
    return result


@cache
def _identity(size: int) -> Floats:
    return np.eye(size)


def _sum_of_squares(residual: Floats) -> float:
    with np.errstate(over="ignore", invalid="ignore"):
        return float(residual @ residual)


def _not_fixed(jacobian: Floats, best: Floats) -> int | None:
    """Index of a parameter that does not affect the residuals: the search ran to where the model is flat."""
    size = np.sqrt((jacobian**2).sum(axis=0)) * np.abs(best)
    loose = np.flatnonzero(~(size > 1e-12 * float(np.nanmax(size))))
    return int(loose[0]) if loose.size else None


def _solve(matrix: Floats, right: Floats) -> Floats:
    return scaled_inverse(matrix) @ right


def _checked(design: ArrayLike, y: ArrayLike, weights: ArrayLike | None) -> tuple[Floats, Floats, Floats]:
    columns, values = np.atleast_2d(np.asarray(design, dtype=float)), np.asarray(y, dtype=float).ravel()
    if columns.shape[0] != values.size:
        raise ValueError(f"The design has {columns.shape[0]} rows for {values.size} values; one row each is needed.")
    if values.size < columns.shape[1]:
        raise ValueError(
            f"{columns.shape[1]} parameters need at least as many values; there are {values.size}. Add readings."
        )
    weight = np.ones(values.size) if weights is None else np.asarray(weights, dtype=float).ravel()
    if weight.size != values.size:
        raise ValueError(f"There are {weight.size} weights for {values.size} values; each value needs one.")
    if not (np.all(np.isfinite(columns)) and np.all(np.isfinite(values))):
        raise ValueError("A value of the fit is not a number; exclude such readings first.")
    if not np.all(np.isfinite(weight)) or np.any(weight < 0):
        raise ValueError("A weight is negative or not a number; weights must be zero or above.")
    return columns, values, np.sqrt(weight)


def _jacobian(residuals: Callable[[Floats], Floats], at: Floats) -> Floats:
    """Derivatives of the residuals by central differences, step chosen for double precision."""
    columns = []
    for place in range(at.size):
        width = 6e-6 * max(abs(at[place]), 1e-7)
        up, down = at.copy(), at.copy()
        up[place] += width
        down[place] -= width
        columns.append((residuals(up) - residuals(down)) / (up[place] - down[place]))
    return np.column_stack(columns)


def _result(best: Floats, inverse: Floats, residual: Floats, converged: bool, why_not: str) -> LeastSquaresFit:
    dof = residual.size - best.size
    total = float(residual @ residual)
    variance = total / dof if dof > 0 else math.nan
    covariance = inverse * variance
    return LeastSquaresFit(
        best=best,
        standard_errors=np.sqrt(np.maximum(np.diag(covariance), 0.0)) if dof > 0 else np.full(best.size, math.nan),
        covariance=covariance,
        residual_sum_of_squares=total,
        residual_sd=math.sqrt(variance) if dof > 0 else math.nan,
        degrees_of_freedom=dof,
        fit_converged=converged,
        why_not=why_not,
    )

"""Law of propagation of uncertainty for correlated inputs and several outputs, and effective degrees of freedom."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Model = Callable[[NDArray[np.float64]], float | Sequence[float] | NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Propagated:
    """Outputs of a model with their joint uncertainty.

    values, uncertainties : one for each output [unit of the output]
    covariance : between the outputs, in their order
    sensitivities : one row for each output, one column for each input [unit of output over unit of input]
    """

    values: tuple[float, ...]
    uncertainties: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    sensitivities: tuple[tuple[float, ...], ...]

    def correlation(self, one: int, other: int) -> float:
        """Correlation coefficient of two outputs, by index; 0 where either is exact."""
        product = self.uncertainties[one] * self.uncertainties[other]
        return self.covariance[one][other] / product if product > 0 else 0.0


def propagate(
    model: Model, values: ArrayLike, covariance: ArrayLike, *, sensitivities: ArrayLike | None = None
) -> Propagated:
    r"""Joint uncertainty of the outputs of a model whose inputs may be correlated. [1]_ [2]_

    .. math:: U_y = J\,U_x\,J^T

    Parameters
    ----------
    model : takes the array of inputs, gives one output or several
    values : best values of the inputs [any unit each]
    covariance : of the inputs, square, in the same order
    sensitivities : the partial derivatives J, one row for each output; numerical (central differences) if not given

    Raises
    ------
    ValueError if the covariance is not square, symmetric and of the size of the inputs, if it implies a negative
        variance, or if the sensitivities do not fit.

    Notes
    -----
    First order: a model that is nonlinear within one standard uncertainty needs Monte Carlo (JCGM 101:2008).

    References
    ----------
    .. [1] JCGM 100:2008, eq. 13 (one output); the multivariate form is JCGM 102:2011, 6.2. Both from memory; the
       results are checked against the worked examples H.2 and H.3 of the first.

    >>> area = propagate(lambda x: x[0] * x[1], [4.0, 2.0], [[0.01, 0.0], [0.0, 0.04]])
    >>> area.values, area.uncertainties
    ((8.0,), (0.824...,))
    """
    inputs, input_covariance = _checked(values, covariance)
    outputs = np.atleast_1d(np.asarray(model(inputs), dtype=np.float64))
    if sensitivities is None:
        jacobian = numerical_sensitivities(model, inputs, np.sqrt(np.diag(input_covariance)))
    else:
        jacobian = np.atleast_2d(np.asarray(sensitivities, dtype=np.float64))
        if jacobian.shape != (outputs.size, inputs.size):
            raise ValueError(
                f"The sensitivities have shape {jacobian.shape}; {outputs.size} outputs and {inputs.size} inputs "
                f"need {outputs.size} rows and {inputs.size} columns."
            )
    output_covariance = jacobian @ input_covariance @ jacobian.T
    return Propagated(
        values=tuple(outputs.tolist()),
        uncertainties=tuple(np.sqrt(np.maximum(np.diag(output_covariance), 0.0)).tolist()),
        covariance=tuple(tuple(row) for row in output_covariance.tolist()),
        sensitivities=tuple(tuple(row) for row in jacobian.tolist()),
    )


def _checked(values: ArrayLike, covariance: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The inputs and their covariance as arrays; ValueError where they do not fit."""
    inputs = np.asarray(values, dtype=np.float64)
    input_covariance = np.asarray(covariance, dtype=np.float64)
    if input_covariance.shape != (inputs.size, inputs.size):
        raise ValueError(
            f"The covariance has shape {input_covariance.shape} and there are {inputs.size} inputs; "
            f"it needs {inputs.size} rows and {inputs.size} columns."
        )
    if not np.allclose(input_covariance, input_covariance.T, rtol=1e-9, atol=0.0):
        raise ValueError("The covariance is not symmetric; the entry for (a, b) must equal the one for (b, a).")
    variances = np.diag(input_covariance)
    if not np.all(variances >= 0):
        raise ValueError(f"The covariance holds the variance {variances.min()}; variances must be zero or above.")
    return inputs, input_covariance


def numerical_sensitivities(
    model: Model, values: NDArray[np.float64], uncertainties: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Partial derivatives by central differences, one row for each output.

    The step is the cube root of the machine precision times the larger of value and uncertainty, which balances
    the error of the formula against rounding.

    >>> numerical_sensitivities(lambda x: x[0] ** 2, np.array([3.0]), np.array([0.1])).round(6)
    array([[6.]])
    """
    columns = []
    for place, (value, uncertainty) in enumerate(zip(values, uncertainties, strict=True)):
        step = float(np.cbrt(np.finfo(np.float64).eps)) * (max(abs(value), uncertainty) or 1.0)
        above, below = values.copy(), values.copy()
        above[place], below[place] = value + step, value - step
        rise = np.atleast_1d(np.asarray(model(above), dtype=np.float64))
        fall = np.atleast_1d(np.asarray(model(below), dtype=np.float64))
        columns.append((rise - fall) / (above[place] - below[place]))
    return np.stack(columns, axis=1)


def covariance_of_means(readings: ArrayLike) -> NDArray[np.float64]:
    r"""Covariance of the means of quantities measured together.

    .. math:: u(\bar q,\bar r) = \frac{1}{n(n-1)}\sum_k (q_k-\bar q)(r_k-\bar r)

    readings : one row for each quantity, one column for each joint reading
    Raises ValueError with fewer than two joint readings.
    Source: JCGM 100:2008, eq. 17, from memory; checked with its example H.2.

    >>> covariance_of_means([[1.0, 2.0, 3.0], [1.0, 2.0, 3.0]]).round(3)
    array([[0.333, 0.333], [0.333, 0.333]])
    """
    table = np.atleast_2d(np.asarray(readings, dtype=np.float64))
    number = table.shape[1]
    if number < 2:
        raise ValueError(f"A covariance of means needs 2 joint readings and found {number}.")
    deviations = table - table.mean(axis=1, keepdims=True)
    product: NDArray[np.float64] = deviations @ deviations.T / (number * (number - 1))
    return product


def common_component(parts: Sequence[tuple[float, float]]) -> tuple[float, float]:
    r"""Two or more independent components whose uncertainties come from one estimate: one component for
    `effective_degrees_of_freedom`.

    .. math:: u^2 = \sum_i u_i^2, \qquad \nu = \frac{u^4}{\left(\sum_i u_i^2/\sqrt{\nu_i}\right)^2}

    If the estimate is too small, all are too small at once, so nothing averages out: with equal degrees of freedom the
    sum has no more of them.

    >>> common_component([(0.3, 5.0), (0.4, 5.0)])
    (0.5, 4.99...)
    """
    variance = sum(uncertainty**2 for uncertainty, _ in parts)
    root = sum(uncertainty**2 / math.sqrt(degrees) for uncertainty, degrees in parts)
    return math.sqrt(variance), (variance / root) ** 2 if root > 0 else math.inf


def effective_degrees_of_freedom(parts: Iterable[tuple[float, float]]) -> float:
    r"""Degrees of freedom of a combined uncertainty, by Welch and Satterthwaite. [1]_

    .. math:: \nu_\text{eff} = \frac{u_c^4}{\sum_i u_i^4/\nu_i}, \qquad u_c^2 = \sum_i u_i^2

    parts : pairs of a component's standard uncertainty, already times its sensitivity, and its degrees of freedom
    Returns infinity where every part that counts has infinitely many.
    Raises ValueError for a negative uncertainty or degrees of freedom that are not above zero.

    References
    ----------
    .. [1] JCGM 100:2008, eq. G.2b, from memory; checked with its example G.4.

    >>> effective_degrees_of_freedom([(0.25, 9), (0.57, 4), (0.82, 14)])
    18.998...
    """
    variance, per_degree = 0.0, 0.0
    for uncertainty, degrees_of_freedom in parts:
        if not uncertainty >= 0:
            raise ValueError(f"A part of the uncertainty is {uncertainty}; it must be zero or above.")
        if not degrees_of_freedom > 0:
            raise ValueError(f"A part has {degrees_of_freedom} degrees of freedom; it needs more than zero.")
        variance += uncertainty**2
        per_degree += uncertainty**4 / degrees_of_freedom
    return variance**2 / per_degree if per_degree > 0 else math.inf

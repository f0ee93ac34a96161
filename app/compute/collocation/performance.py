"""Performance measures of loggers side by side, and published targets for them."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Precision:
    """Scatter of simultaneous readings between loggers [unit of the channel], and its share of the mean [%].

    None for the share where the mean is not above zero.
    """

    sd: float
    cv_pct: float | None


@dataclass(frozen=True, slots=True)
class AgainstReference:
    """Coefficient of determination; root mean square of logger minus reference, and its share of the mean."""

    r_squared: float
    rmse: float
    nrmse_pct: float | None


def precision_between(levels: Floats) -> Precision:
    r"""Precision of M loggers, one a row, at N simultaneous times. [1]_

    .. math:: SD = \sqrt{\frac{1}{NM - 1} \sum_{j=1}^{M} \sum_{i=1}^{N} (x_{ij} - \bar x_i)^2}, \quad
              CV = 100\ SD / \bar x

    References
    ----------
    .. [1] US EPA, EPA/600/R-20/280, 2021 (PM2.5 air sensors); the formula as in the agency's public toolkit.

    >>> precision_between(np.array([[10.0, 20.0], [12.0, 18.0]]))
    Precision(sd=1.1547..., cv_pct=7.698...)
    """
    about = levels - levels.mean(axis=0)
    sd = math.sqrt(float(np.sum(about**2)) / (levels.size - 1))
    mean = float(levels.mean())
    return Precision(sd, 100 * sd / mean if mean > 0 else None)


def against_reference(reference: Floats, other: Floats) -> AgainstReference:
    """R², RMSE and normalised RMSE of one logger.

    >>> against_reference(np.array([10.0, 20.0, 30.0]), np.array([12.0, 22.0, 32.0]))
    AgainstReference(r_squared=1.0..., rmse=2.0, nrmse_pct=10.0)
    """
    rmse = math.sqrt(float(np.mean((other - reference) ** 2)))
    mean = float(reference.mean())
    correlation = float(np.corrcoef(reference, other)[0, 1])
    return AgainstReference(correlation**2, rmse, 100 * rmse / mean if mean > 0 else None)


# Base-testing targets for PM2.5 air sensors, for 24 h means outdoors: US EPA, EPA/600/R-20/280, 2021; from memory.
TARGETS_SOURCE = "US EPA, EPA/600/R-20/280, 2021, for 24 h means of PM2.5 outdoors; from memory"
SLOPE_TARGET = (0.65, 1.35)
INTERCEPT_TARGET = (-5.0, 5.0)
LARGEST_SD, LARGEST_CV_PCT = 5.0, 30.0
LEAST_R_SQUARED = 0.70
LARGEST_RMSE, LARGEST_NRMSE_PCT = 7.0, 30.0


@dataclass(frozen=True, slots=True)
class Target:
    """One performance measure beside its target; it says nothing of a test by the report's own procedure."""

    measure: str
    found: str
    target: str
    within: bool


def targets_of(
    slope: float, intercept: float, precision: Precision | None, against: AgainstReference, unit: str
) -> tuple[Target, ...]:
    """The measures beside the targets.

    >>> [each.within for each in targets_of(1.4, 2.0, None, AgainstReference(0.9, 9.0, 12.0), "µg/m³")]
    [False, True, True, True]
    """
    lines = [
        Target("slope", f"{slope:.2f}", "0.65 to 1.35", SLOPE_TARGET[0] <= slope <= SLOPE_TARGET[1]),
        Target(
            "intercept",
            f"{intercept:.1f} {unit}".replace("-", "−"),
            f"−5 to 5 {unit}",
            INTERCEPT_TARGET[0] <= intercept <= INTERCEPT_TARGET[1],
        ),
        Target("R²", f"{against.r_squared:.3f}", "at least 0.70", against.r_squared >= LEAST_R_SQUARED),
        Target(
            "RMSE or NRMSE",
            f"{against.rmse:.1f} {unit}{_share(against.nrmse_pct)}",
            f"at most 7 {unit} or 30 %",
            against.rmse <= LARGEST_RMSE or _at_most(against.nrmse_pct, LARGEST_NRMSE_PCT),
        ),
    ]
    if precision is not None:
        lines.append(
            Target(
                "SD or CV between loggers",
                f"{precision.sd:.1f} {unit}{_share(precision.cv_pct)}",
                f"at most 5 {unit} or 30 %",
                precision.sd <= LARGEST_SD or _at_most(precision.cv_pct, LARGEST_CV_PCT),
            )
        )
    return tuple(lines)


def _share(percent: float | None) -> str:
    return "" if percent is None else f", {percent:.1f} %"


def _at_most(percent: float | None, limit: float) -> bool:
    return percent is not None and percent <= limit

"""Many measured quantities as columns, for formulas that are applied to all trials of a bench at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.measured import Measured, coverage_factor_95

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredColumns:
    """`Measured`, one quantity a row: values, standard uncertainties, and degrees of freedom (infinite allowed).

    >>> columns = MeasuredColumns.of([Measured(10.0, 1.0), Measured(10.0, 1.0, 4)])
    >>> columns.high_95.round(3), columns.row(1)
    (array([11.96 , 12.776]), Measured(value=10.0, uncertainty=1.0))
    """

    value: Floats
    uncertainty: Floats
    degrees_of_freedom: Floats

    @classmethod
    def of(cls, quantities: Sequence[Measured]) -> "MeasuredColumns":
        return cls(
            np.array([q.value for q in quantities], dtype=np.float64),
            np.array([q.uncertainty for q in quantities], dtype=np.float64),
            np.array([q.degrees_of_freedom for q in quantities], dtype=np.float64),
        )

    @property
    def expanded_uncertainty_95(self) -> Floats:
        return _factors(self.degrees_of_freedom, 0.975, coverage_factor_95(np.inf)) * self.uncertainty

    @property
    def low_95(self) -> Floats:
        return self.value - self.expanded_uncertainty_95

    @property
    def high_95(self) -> Floats:
        return self.value + self.expanded_uncertainty_95

    def at(self, places: NDArray[np.intp]) -> "MeasuredColumns":
        return MeasuredColumns(self.value[places], self.uncertainty[places], self.degrees_of_freedom[places])

    def row(self, place: int) -> Measured:
        return Measured(float(self.value[place]), float(self.uncertainty[place]), float(self.degrees_of_freedom[place]))


def one_sided_factors_95(degrees_of_freedom: Floats) -> Floats:
    """One-sided 95 % points of Student's t; 1.644854 for infinite degrees of freedom.

    >>> one_sided_factors_95(np.array([10.0])).round(3)
    array([1.812])
    """
    return _factors(degrees_of_freedom, 0.95, 1.6448536269514722)


def _factors(degrees_of_freedom: Floats, share: float, of_normal: float) -> Floats:
    """Point of Student's t below which this share lies; `of_normal` for infinite degrees of freedom."""
    from scipy.special import stdtrit  # loaded when used: pages of costs and rooms do not need it

    finite = np.isfinite(degrees_of_freedom)
    found: Floats = np.where(finite, stdtrit(np.where(finite, degrees_of_freedom, 1.0), share), of_normal)
    return found


def combined(value: Floats, parts: Sequence[tuple[Floats, Floats]]) -> MeasuredColumns:
    """Values with the root of the sum of squares of independent parts, each an uncertainty with its degrees of freedom;
    the effective degrees of freedom by Welch and Satterthwaite, as in `effective_degrees_of_freedom`."""
    variance, per_degree = np.zeros(value.shape), np.zeros(value.shape)
    for uncertainty, degrees in parts:
        variance = variance + uncertainty**2
        per_degree = per_degree + uncertainty**4 / degrees
    some = per_degree > 0
    degrees_of_freedom = np.where(some, variance**2 / np.where(some, per_degree, 1.0), np.inf)
    return MeasuredColumns(value, np.sqrt(variance), degrees_of_freedom)

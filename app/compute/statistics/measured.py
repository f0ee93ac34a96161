"""A measured quantity: value, standard uncertainty and degrees of freedom."""

import math
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard uncertainty, both in the same unit.

    The 95 % interval is value ± t(0.975, degrees_of_freedom) · uncertainty (JCGM 100:2008, G.3), so it is
    wider than ± 2 uncertainties with few degrees of freedom.

    >>> Measured(10.0, 1.0).interval_95
    (8.04..., 11.95...)
    >>> Measured(10.0, 1.0, degrees_of_freedom=4).high_95
    12.776...
    """

    value: float
    uncertainty: float
    degrees_of_freedom: float = field(default=math.inf, repr=False)

    def __post_init__(self) -> None:
        if not self.uncertainty >= 0:
            raise ValueError(f"The standard uncertainty is {self.uncertainty}; it must be zero or above.")
        if not self.degrees_of_freedom > 0:
            raise ValueError(f"The degrees of freedom are {self.degrees_of_freedom}; they must be above zero.")

    @property
    def expanded_uncertainty_95(self) -> float:
        return coverage_factor_95(self.degrees_of_freedom) * self.uncertainty

    @property
    def low_95(self) -> float:
        return self.value - self.expanded_uncertainty_95

    @property
    def high_95(self) -> float:
        return self.value + self.expanded_uncertainty_95

    @property
    def interval_95(self) -> tuple[float, float]:
        return self.low_95, self.high_95

    def times(self, factor: float) -> "Measured":
        """The same quantity in another unit, or multiplied by an exact factor."""
        return Measured(self.value * factor, self.uncertainty * abs(factor), self.degrees_of_freedom)


def measured_or_none(value: float | None, uncertainty: float | None, degrees: float | None) -> Measured | None:
    """A measured quantity from three numbers that may be missing; without degrees of freedom they are infinite.

    >>> measured_or_none(10.0, 1.0, None), measured_or_none(10.0, None, None)
    (Measured(value=10.0, uncertainty=1.0), None)
    """
    if value is None or uncertainty is None:
        return None
    return Measured(value, uncertainty, math.inf if degrees is None else degrees)


def at_least_as_wide(result: Measured, own: Measured) -> Measured:
    """`result` with an interval no narrower than that of `own`, which is a part of it.

    Effective degrees of freedom are an approximation: a component with very few of them, combined with one with many,
    can come out narrower than the component alone. That is impossible, so the degrees of freedom are lowered.

    >>> own = Measured(5.0, 0.10, 2.0)
    >>> at_least_as_wide(Measured(5.0, 0.12, 4.0), own).expanded_uncertainty_95 >= own.expanded_uncertainty_95
    True
    """
    needed = own.expanded_uncertainty_95
    if result.expanded_uncertainty_95 >= needed:
        return result
    from scipy.special import stdtridf  # loaded when used, as below

    uncertainty = max(result.uncertainty, own.uncertainty)
    factor = needed / uncertainty
    degrees = float(stdtridf(0.975, factor)) if factor > coverage_factor_95(math.inf) * (1 + 1e-6) else math.inf
    return Measured(result.value, max(uncertainty, needed / coverage_factor_95(degrees)), degrees)


def coverage_factor_95(degrees_of_freedom: float) -> float:
    """Two-sided 95 % point of Student's t; 1.959964 for infinite degrees of freedom."""
    if math.isinf(degrees_of_freedom):
        return 1.959963984540054
    from scipy.special import stdtrit  # loaded when used: pages of costs and prices do not need it

    return float(stdtrit(degrees_of_freedom, 0.975))

"""A measured quantity with an asymmetric interval, such as a time or a ratio."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AsymmetricMeasured:
    """Value, standard uncertainty and 95 % interval, all in one unit; with the same four names as `Measured`.

    The interval is a transformed interval of the fitted quantity, so it is not
    value ± a factor times the uncertainty. `uncertainty` is the first-order one, for comparison of magnitudes.

    >>> AsymmetricMeasured(30.0, 3.0, 25.1, 37.5).times(1 / 60).high_95
    0.625
    """

    value: float
    uncertainty: float
    low_95: float
    high_95: float

    def __post_init__(self) -> None:
        if not self.uncertainty >= 0:
            raise ValueError(f"The standard uncertainty is {self.uncertainty}; it must be zero or above.")
        if not self.low_95 <= self.value <= self.high_95:
            raise ValueError(f"The interval {self.low_95} to {self.high_95} must contain the value {self.value}.")

    @property
    def interval_95(self) -> tuple[float, float]:
        return self.low_95, self.high_95

    def times(self, factor: float) -> "AsymmetricMeasured":
        """The same quantity in another unit; the factor is above zero and exact."""
        if not factor > 0:
            raise ValueError(f"The factor between the units is {factor}; it must be above zero.")
        return AsymmetricMeasured(
            self.value * factor, self.uncertainty * factor, self.low_95 * factor, self.high_95 * factor
        )

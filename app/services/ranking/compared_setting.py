"""All stored data of one setting, for a comparison."""

from dataclasses import dataclass

from app.compute.clean_air.rate import clean_air_delivery_rate
from app.compute.statistics.measured import Measured
from app.services.measurements.comparable_sound import ComparableSound
from app.services.ranking.table import RankedSetting
from app.services.snapshot.settings_in_rooms import TestedSetting


@dataclass(frozen=True, slots=True)
class ComparedSetting:
    """Stored data of one setting; missing values are None.

    name : short, and unique in the comparison
    """

    setting_id: int
    name: str
    line: RankedSetting
    tested: TestedSetting | None
    sound: ComparableSound | None

    @property
    def clean_air(self) -> Measured | None:
        """The rate, even if it is not distinguishable from zero (`tested.measurable`) [m³/h]."""
        if self.tested is None or self.tested.in_room is None:
            return None
        in_room = self.tested.in_room
        return clean_air_delivery_rate(in_room.total_decay, in_room.natural_decay, in_room.volume)

    @property
    def cleans_measurably(self) -> bool:
        return self.tested is not None and self.tested.measurable

    @property
    def power(self) -> Measured | None:
        """At this setting [W]."""
        row = self.line.row
        return None if row.power_w is None else Measured(row.power_w, row.power_uncertainty_w or 0.0)

    @property
    def running_cost(self) -> Measured | None:
        """Yearly cost in the bench's currency; a lower bound if `line.cost.at_least`."""
        cost = self.line.cost
        return None if cost is None else Measured(cost.total_per_year, cost.uncertainty_per_year)

    def price_in(self, currency: str) -> float | None:
        """The latest price, if it is in that currency."""
        row = self.line.row
        return row.price if row.price_currency == currency else None

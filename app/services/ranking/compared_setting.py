"""One setting of a unit as it stands in a comparison: everything stored of it."""

from dataclasses import dataclass

from app.compute.clean_air.rate import clean_air_delivery_rate
from app.compute.statistics.measured import Measured
from app.services.measurements.comparable_sound import ComparableSound
from app.services.ranking.table import RankedSetting
from app.services.snapshot.settings_in_rooms import TestedSetting


@dataclass(frozen=True, slots=True)
class ComparedSetting:
    """What is stored of one setting, None where it does not exist.

    name : short, and unlike that of the others in the comparison
    """

    setting_id: int
    name: str
    line: RankedSetting
    tested: TestedSetting | None
    sound: ComparableSound | None

    @property
    def clean_air(self) -> Measured | None:
        """The rate, also where it cannot be told from zero (`tested.measurable`) [m³/h]."""
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
        """A year in the bench's currency; `line.cost.at_least` says where it is only a lower bound."""
        cost = self.line.cost
        return None if cost is None else Measured(cost.total_per_year, cost.uncertainty_per_year)

    def price_in(self, currency: str) -> float | None:
        """The latest price, where it is in that currency."""
        row = self.line.row
        return row.price if row.price_currency == currency else None

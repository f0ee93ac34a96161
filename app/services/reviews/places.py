"""Rank of a unit among the tested units that have a quantity."""

from collections.abc import Callable
from dataclasses import dataclass

from app.services.ranking.table import RankedSetting
from app.services.reviews.facts import ReviewFacts
from app.services.reviews.thresholds import FEWEST_TO_PLACE, OUTER_SHARE
from app.services.reviews.wording import Span


@dataclass(frozen=True, slots=True)
class Place:
    """Rank of a unit among those with a quantity; 1 is best.

    address : URL of the page that shows this order
    those : which of the tested units have the quantity, such as "with measurable cleaning"; "" for all of them
    """

    place: int
    of: int
    address: str = ""
    those: str = ""

    @property
    def words(self) -> str:
        return f"rank {self.place} of {self.of} {f'units {self.those}' if self.those else 'tested units'}"

    @property
    def span(self) -> Span:
        """The rank with its link."""
        return Span(self.words, self.address)

    @property
    def in_first_share(self) -> bool:
        return self.of >= FEWEST_TO_PLACE and self.place <= OUTER_SHARE * self.of

    @property
    def in_last_share(self) -> bool:
        return self.of >= FEWEST_TO_PLACE and self.place > (1 - OUTER_SHARE) * self.of


BY_CLEAN_AIR, BY_SOUND, BY_POWER, BY_PRICE, BY_COST = (
    f"/?sort={key}" for key in ("clean_air_delivery_rate", "sound", "power", "price", "running_cost")
)
_THOSE = {
    BY_CLEAN_AIR: "with measurable cleaning",
    BY_SOUND: "with a measured level",
    BY_POWER: "with measurable cleaning and power",
    BY_PRICE: "with measurable cleaning and a price",
    BY_COST: "with complete costs",
}
Value = Callable[[RankedSetting], float | None]


def place_of(facts: ReviewFacts, value: Value, address: str, *, larger_is_better: bool) -> Place | None:
    """Rank of the unit by a quantity at each unit's highest setting; equal values share the better rank."""
    if facts.highest is None:
        return None
    own = value(facts.highest)
    values = [found for line in facts.bench if (found := value(line)) is not None]
    if own is None or not values:
        return None
    better = sum(1 for other in values if (other > own if larger_is_better else other < own))
    those = "" if len(values) == len(facts.bench) else _THOSE[address]
    return Place(better + 1, len(values), address, those)

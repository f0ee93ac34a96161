"""What is entered of a unit under test: the machine, its prices, its consumables."""

from dataclasses import dataclass
from datetime import date

from app.errors import InvalidValue
from app.services.store.checked_values import LARGEST_COUNT, LONGEST_NAME, currency_code, source_text
from app.services.store.entry_fields import choice, count, day, flag, number, text
from app.storage.models.units_under_test import KINDS_OF_CLEANING as KINDS_OF_CLEANING

CONSUMABLES_STATES = ("unknown", "none needed", "listed")
USUAL_KIND = "mechanical filter"  # preselected in a form for a new unit
KINDS_OF_CONSUMABLE = ("filter", "washable part", "water", "additive", "lamp", "other")
# Nothing is replaced more often than each day or each hour of running; a smaller figure is a slip, and its endless
# replacements would keep every page of costs from ending.
SHORTEST_LIFE_MONTHS = 0.03
SHORTEST_LIFE_HOURS = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NewUnit:
    """What is known of a machine when it comes to the bench. Without `makes_ozone` its kind decides."""

    maker: str = text("Maker", needed=True, longest=LONGEST_NAME)
    model: str = text("Model", needed=True, longest=LONGEST_NAME)
    kind: str = choice("Type", KINDS_OF_CLEANING, default="other", what="The type", form_name="kind_of_cleaning")
    makes_ozone: bool | None = flag(
        "It ionises or uses ultraviolet light, so it may produce ozone",
        default=None,
        what="Whether it may make ozone",
    )
    consumables_state: str = choice("", CONSUMABLES_STATES, default="unknown", what="The consumables state")
    width_mm: float | None = number("Width", "mm")
    depth_mm: float | None = number("Depth", "mm")
    height_mm: float | None = number("Height", "mm")
    mass_kg: float | None = number("Mass", "kg")
    bought_on: date | None = day("Bought on", "The purchase")
    bought_from: str = text(
        "Bought from, and paid by", help="Shown in the disclosure line of a review.", what="The place of purchase"
    )
    serial_number: str = text("Serial number", private=True)
    notes: str = text("Unit notes", what="The notes", form_name="unit_notes", lines=3)


def _position(value: int | None, name: str, what: str) -> int | None:
    if value is not None and not 0 <= value <= LARGEST_COUNT:
        raise InvalidValue(f"{what} is {value:g}; enter a whole number from 0 to {LARGEST_COUNT}.", field=name)
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSetting:
    """A speed setting; without a position it comes after the fastest one."""

    name: str = text(
        "Name of the setting",
        what="The name of the setting",
        form_name="setting",
        column="setting",
        needed=True,
        longest=LONGEST_NAME,
    )
    position: int | None = count(
        "1 for the slowest", default=None, needed=False, what="The position of the setting", check=_position
    )
    is_highest: bool = flag("The fastest setting")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPrice:
    """A price of a unit, or of one pack of a consumable, as it was seen."""

    amount: float | None = number(
        "Price", unit_from="currency", form_name="price", column="price", needed=True, zero=True
    )
    currency: str = text(
        "Currency", help="Three letters, such as USD.", words="three letters", needed=True, check=currency_code
    )
    seen_on: date | None = day("Seen on", "The price", form_name="price_seen_on", needed=True)
    source: str = text(
        "Where seen", default="", what="The price", form_name="price_source", evidence=True, check=source_text
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewConsumable:
    """A part that wears out. Life in months, in running hours, or both: whichever comes first counts."""

    name: str = text(
        "Part name",
        what="The name of the consumable",
        form_name="consumable",
        column="consumable",
        needed=True,
        longest=LONGEST_NAME,
    )
    kind: str = choice(
        "Part type",
        KINDS_OF_CONSUMABLE,
        default="filter",
        what="The consumable type",
        form_name="consumable_kind",
        words=f"one of: {', '.join(KINDS_OF_CONSUMABLE)}",
    )
    washable: bool = flag("Washable and reused")
    pieces_in_use: int = count("Pieces in use", what="The number of pieces in use")
    pack_size: int = count("Pieces per pack", what="The number of pieces per pack")
    life_months: float | None = number("Life", "months", least=SHORTEST_LIFE_MONTHS)
    life_running_hours: float | None = number(
        "Life in running hours",
        "hours",
        "If both are given, whichever comes first counts.",
        what="The life",
        least=SHORTEST_LIFE_HOURS,
    )
    life_source: str = text(
        "Source of the life",
        what="The source of the life",
        words="source of the life; required with a life",
    )
    notes: str = text("Part notes", what="The notes", form_name="consumable_notes")

"""A reader's choices for the cost of owning, and the available tariffs."""

import math
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.clean_air.room_need import RULE_CEILING_M
from app.compute.cost_and_energy.cost_over_years import LONGEST_YEARS
from app.compute.cost_and_energy.running_cost import FILTER_LIFE_RELATIVE_UNCERTAINTY, CostAssumptions
from app.errors import InvalidValue, NotFound
from app.services.bench.choices import bench_choices
from app.services.bench.definitions import BenchChoices, NewTariff
from app.services.store.checked_values import currency_code, latest_current_day
from app.services.store.entry_fields import stored_values
from app.storage.models.bench import Tariff

HIGHEST, QUIETEST, FOR_THE_ROOM = "highest", "quietest", "quietest that serves the room"
SETTING_CHOICES = (HIGHEST, QUIETEST, FOR_THE_ROOM)
MOST_UNITS = 8
DEFAULT_YEARS = 5
_LARGEST_PRICE_PER_KWH = 1e6  # in any currency; sums of larger prices would overflow


@dataclass(frozen=True, slots=True, kw_only=True)
class OwningChoices:
    """All choices in the URL of the costs page; None and "" are filled from the bench.

    unit_ids : units to show, at most 8; empty: the strongest ones
    setting : the highest, the quietest, or the quietest that is still enough for a room of `room_area_m2`
    tariff_id : a stored tariff, which also sets the currency; or price_per_kwh with currency
    hours_per_day, quiet_hours_per_day : hours at the setting, and additional hours at each unit's quietest setting [h]
    discount_rate_pct : [% per year]
    compare : two of the units, for the break-even
    """

    unit_ids: tuple[int, ...] = ()
    setting: str = HIGHEST
    room_area_m2: float | None = None
    room_height_m: float = RULE_CEILING_M
    tariff_id: int | None = None
    price_per_kwh: float | None = None
    currency: str = ""
    hours_per_day: float | None = None
    quiet_hours_per_day: float = 0.0
    days_per_year: float | None = None
    years: int = DEFAULT_YEARS
    discount_rate_pct: float = 0.0
    unplugged_when_off: bool = False
    compare: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AvailableTariff(NewTariff):
    """A stored electricity price, by region and date, with source and verification status."""

    id: int
    price_per_kwh: float
    valid_from: date


@dataclass(frozen=True, slots=True)
class OwningTerms:
    """The complete choices: assumptions, hours, and the source of the tariff as text."""

    choices: OwningChoices
    bench: BenchChoices
    assumptions: CostAssumptions
    hours_per_day: float
    tariffs: tuple[AvailableTariff, ...]
    tariff_words: str


def tariffs_of_bench(session: Session) -> tuple[AvailableTariff, ...]:
    """All tariffs, by region and then newest first."""
    return tuple(
        AvailableTariff(id=t.id, **stored_values(NewTariff, t))
        for t in session.scalars(select(Tariff).order_by(Tariff.region, Tariff.valid_from.desc()))
    )


def owning_terms(session: Session, choices: OwningChoices) -> OwningTerms:
    """Fills in the choices from the bench.

    Raises InvalidValue, naming the field, for an invalid value, and without an electricity price;
    NotFound for an unknown tariff.
    """
    bench, tariffs = bench_choices(session), tariffs_of_bench(session)
    price, currency, words = _tariff(choices, bench, tariffs)
    hours = bench.hours_per_day if choices.hours_per_day is None else choices.hours_per_day
    days = bench.days_per_year if choices.days_per_year is None else choices.days_per_year
    _check(choices, hours, days)
    filled = replace(choices, currency=currency, price_per_kwh=price, hours_per_day=hours, days_per_year=days)
    assumptions = CostAssumptions(
        price_per_kwh=price,
        currency=currency,
        days_per_year=days,
        discount_rate=choices.discount_rate_pct / 100,
        unplugged_when_off=choices.unplugged_when_off,
        filter_life_relative_uncertainty=FILTER_LIFE_RELATIVE_UNCERTAINTY,
    )
    return OwningTerms(filled, bench, assumptions, hours, tariffs, words)


def _tariff(
    choices: OwningChoices, bench: BenchChoices, tariffs: tuple[AvailableTariff, ...]
) -> tuple[float, str, str]:
    if choices.price_per_kwh is not None:
        if not (math.isfinite(choices.price_per_kwh) and choices.price_per_kwh >= 0):
            raise InvalidValue(
                f"The price per kilowatt-hour is {choices.price_per_kwh}; it must be zero or above. Correct it.",
                field="price_per_kwh",
            )
        if choices.price_per_kwh > _LARGEST_PRICE_PER_KWH:
            raise InvalidValue(
                f"The price per kilowatt-hour is {choices.price_per_kwh:g}; enter at most {_LARGEST_PRICE_PER_KWH:g}.",
                field="price_per_kwh",
            )
        currency = currency_code(choices.currency or bench.currency)
        return choices.price_per_kwh, currency, "your own price"
    tariff_id = choices.tariff_id if choices.tariff_id is not None else bench.tariff_id
    if tariff_id is None:
        raise InvalidValue(
            "No electricity price is set. Enter one, or add a tariff and select it in the bench settings.",
            field="price_per_kwh",
        )
    tariff = next((t for t in tariffs if t.id == tariff_id), None)
    if tariff is None:
        raise NotFound("tariff", tariff_id)
    standing = f", {tariff.standing}" if tariff.standing else ""
    ahead = ", which is in the future" if tariff.valid_from > latest_current_day() else ""
    words = f"{tariff.region} from {tariff.valid_from.isoformat()}{ahead}{standing}"
    return tariff.price_per_kwh, tariff.currency, words


def _check(choices: OwningChoices, hours: float, days: float) -> None:
    for field, value, low, high, unit in (
        ("hours_per_day", hours, 0.0, 24.0, "hours per day"),
        ("quiet_hours_per_day", choices.quiet_hours_per_day, 0.0, 24.0, "hours per day at the quietest setting"),
        ("quiet_hours_per_day", hours + choices.quiet_hours_per_day, 0.0, 24.0, "hours per day at both settings"),
        ("days_per_year", days, 0.0, 366.0, "days per year"),
        ("years", float(choices.years), 1.0, float(LONGEST_YEARS), "years"),
        ("discount_rate_pct", choices.discount_rate_pct, 0.0, 50.0, "% per year"),
    ):
        if not low <= value <= high:
            raise InvalidValue(f"Found {value:g} {unit}; enter a value from {low:g} to {high:g}.", field=field)
    if choices.setting not in SETTING_CHOICES:
        raise InvalidValue(
            f"The setting is {choices.setting!r}; choose one of: {', '.join(SETTING_CHOICES)}.", field="setting"
        )
    area, height = choices.room_area_m2, choices.room_height_m
    if choices.setting == FOR_THE_ROOM and area is None:
        raise InvalidValue("No room area was given. Enter it in m².", field="room_area_m2")
    for field, size in (("room_area_m2", area), ("room_height_m", height)):
        if size is not None and not 0 < size < 10_000:
            raise InvalidValue(f"Found {size:g} for {field}; enter a value above zero.", field=field)
    if len(choices.unit_ids) > MOST_UNITS:
        raise InvalidValue(
            f"{len(choices.unit_ids)} units were selected; a chart shows at most {MOST_UNITS}. Remove some.",
            field="unit_ids",
        )

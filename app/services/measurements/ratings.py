"""Third-party ratings of a unit, dated, each compared with the measured rate where possible."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.clean_air.claim_quantities import QUANTITIES
from app.compute.clean_air.ratings import CertifiedRate, MeasuredRate, RatingComparison, compare_with_rating
from app.errors import InvalidValue, NotFound
from app.services.measurements.definitions import NewRating
from app.services.measurements.delete_entry import delete_entry
from app.services.measurements.measured_rates import SettingRate, rates_of_unit
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import number_above_zero
from app.services.store.entry_fields import checked_entry
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.ratings_and_claims import Rating

NOT_MEASURED = "The bench has not measured a {aerosol} rate at the highest setting, so there is nothing to compare."


@dataclass(frozen=True, slots=True)
class RatingWithComparison:
    """A rating with its comparison; `comparison.refused` says why they are not compared."""

    rating: Rating
    measured: SettingRate | None
    comparison: RatingComparison


def add_rating(session: Session, unit_id: int, new: NewRating, *, who: str = AT_THE_DESK) -> int:
    """Adds a rating and returns its id; older ones are kept."""
    get_unit(session, unit_id)
    values = checked_entry(new)
    if not new.listed and new.value is not None:
        raise InvalidValue(
            f"The rating is marked as not listed and has the value {new.value:g}. Clear one of the two.",
            field="rating_value",
        )
    value, unit = values.pop("value"), values.pop("unit_symbol")
    stated = {"stated_value": value, "stated_unit": unit if new.listed else ""}
    rate = _in_m3_per_h(new) if new.listed else None
    row = Rating(unit_under_test_id=unit_id, clean_air_delivery_rate_m3_per_h=rate, **stated, **values)
    session.add(row)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "rating", None, _words(row))
    return row.id


def delete_rating(session: Session, rating_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Deletes an entry; the record of changes keeps its content."""
    row = session.get(Rating, rating_id)
    if row is None:
        raise NotFound("rating", rating_id)
    delete_entry(session, row, "rating", _words(row), who=who, why=why)


def ratings_of_unit(session: Session, unit_id: int) -> tuple[RatingWithComparison, ...]:
    """All ratings of a unit, newest first, each compared with its own aerosol at the highest setting, or refused."""
    rates = rates_of_unit(session, unit_id)
    rows = session.scalars(
        select(Rating).where(Rating.unit_under_test_id == unit_id).order_by(Rating.seen_on.desc(), Rating.id.desc())
    )
    return tuple(_with_comparison(row, rates) for row in rows)


def own_rate_m3_per_h(ratings: tuple[RatingWithComparison, ...], aerosol: str) -> float | None:
    """The newest listed rate of the unit itself, never that of a sister model [m³/h]."""
    for entry in ratings:
        row = entry.rating
        if row.aerosol == aerosol and not row.sister_model:
            return row.clean_air_delivery_rate_m3_per_h if row.listed else None
    return None


def _with_comparison(row: Rating, rates: tuple[SettingRate, ...]) -> RatingWithComparison:
    certified = CertifiedRate(
        row.aerosol,
        row.clean_air_delivery_rate_m3_per_h,
        row.listed,
        row.sister_model,
        row.test_standard,
        row.source,
        row.seen_on.isoformat(),
    )
    measured = _like(row.aerosol, rates)
    if measured is None or measured.rate is None:
        why = NOT_MEASURED.format(aerosol=row.aerosol)
        return RatingWithComparison(row, None, RatingComparison(why, None, None, why, ()))
    found = compare_with_rating(
        MeasuredRate(
            measured.aerosol,
            measured.channel,
            measured.at_highest_setting,
            measured.rate,
            measured.measurable,
            measured.at_most_m3_per_h,
        ),
        certified,
    )
    return RatingWithComparison(row, measured, found)


def _like(aerosol: str, rates: tuple[SettingRate, ...]) -> SettingRate | None:
    """The best matching measured rate: preferably the same aerosol at the highest setting. `compare_with_rating`
    refuses a mismatch with a reason.
    """
    return min(
        (rate for rate in rates if rate.rate is not None),
        key=lambda rate: (rate.aerosol != aerosol, not rate.at_highest_setting, -rate.position),
        default=None,
    )


def _in_m3_per_h(new: NewRating) -> float:
    value = number_above_zero(new.value, "rating_value", "The rating", new.unit_symbol)
    try:
        return QUANTITIES["clean_air_delivery_rate"].in_own_unit(value, new.unit_symbol)
    except ValueError as error:
        raise InvalidValue(str(error), field="rating_unit") from None


def _words(row: Rating) -> str:
    what = f"{row.stated_value:g} {row.stated_unit}" if row.listed else "searched for, not listed"
    sister = f", certified for {row.sister_model}" if row.sister_model else ""
    return f"{row.aerosol}: {what}{sister}, seen on {row.seen_on.isoformat()}"

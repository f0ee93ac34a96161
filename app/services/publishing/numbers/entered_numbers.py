"""Published numbers that nothing here computes: sizes, prices, claims, certified rates and ozone tests, as entered."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.services.publishing.numbers.published_number import PublishedNumber, significant
from app.storage.models.bench_measurements import OzoneTest
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.units_under_test import UnitUnderTest

_SIZES = (("width_mm", "Width", "mm"), ("depth_mm", "Depth", "mm"), ("height_mm", "Height", "mm"))


def entered_numbers(session: Session) -> Iterator[PublishedNumber]:
    units = session.scalars(
        select(UnitUnderTest).where(UnitUnderTest.trashed_at.is_(None)).order_by(UnitUnderTest.id)
    ).all()
    names = {unit.id: f"{unit.maker} {unit.model}" for unit in units}
    for unit in units:
        for field, quantity, symbol in (*_SIZES, ("mass_kg", "Mass", "kg")):
            if (value := getattr(unit, field)) is not None:
                yield _entered(names, unit.id, field, quantity, symbol, value)
    for claim in session.scalars(select(Claim).order_by(Claim.id)):
        if claim.value is not None and claim.unit_under_test_id in names:
            yield _entered(
                names, claim.unit_under_test_id, f"claim/{claim.id}", f"Claim of the maker, {claim.quantity}",
                claim.unit_symbol, claim.value, bound=claim.bound,
                source=("claim", f"seen {claim.seen_on.isoformat()}"),
            )  # fmt: skip
    for rating in session.scalars(select(Rating).order_by(Rating.id)):
        if rating.clean_air_delivery_rate_m3_per_h is not None and rating.unit_under_test_id in names:
            yield _entered(
                names, rating.unit_under_test_id, f"rating/{rating.id}", f"Certified rate, {rating.aerosol}", "m³/h",
                rating.clean_air_delivery_rate_m3_per_h,
                source=("rating", f"{rating.source or 'no source'}, seen {rating.seen_on.isoformat()}"),
            )  # fmt: skip
    for test in session.scalars(select(OzoneTest).order_by(OzoneTest.id)):
        if test.unit_under_test_id in names:
            yield _entered(
                names, test.unit_under_test_id, f"ozone/{test.id}", "Ozone", "ppb", test.ozone_ppb,
                bound="less than" if test.below_detection else "",
                source=("ozone test", test.tested_on.isoformat()),
            )  # fmt: skip


def _entered(
    names: dict[int, str],
    unit_id: int,
    key: str,
    quantity: str,
    symbol: str,
    value: float,
    *,
    bound: str = "",
    source: tuple[str, str] | None = None,
) -> PublishedNumber:
    more: dict[str, Any] = {} if source is None else {"based_on": (source,)}
    return PublishedNumber(
        key=f"unit/{unit_id}/{key}",
        unit_id=unit_id,
        trial_id=None,
        item=names[unit_id],
        of="",
        quantity=quantity,
        unit_of_measure=symbol,
        value=significant(value),
        bound=bound,
        **more,
    )

"""The stored row of an entry, by its definition."""

from typing import Any

from sqlalchemy.orm import Session

from app.services.measurements.definitions import (
    NewClaim,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.units.definitions import NewConsumable, NewPrice
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.units_under_test import Consumable, Price

_TABLES: dict[type, Any] = {
    NewSoundMeasurement: SoundMeasurement,
    NewPowerMeasurement: PowerMeasurement,
    NewOzoneTest: OzoneTest,
    NewRating: Rating,
    NewClaim: Claim,
    NewPrice: Price,
    NewConsumable: Consumable,
}


def stored_entry(session: Session, definition: type, entry_id: int) -> Any:
    """The row that was stored for an entry; raises sqlalchemy.exc.NoResultFound for an unknown id."""
    return session.get_one(_TABLES[definition], entry_id)

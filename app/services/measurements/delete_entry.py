"""Deletes an entry; the record of changes keeps all its fields."""

from sqlalchemy.orm import Session

from app.services.store.audit import record_change, recorded_text
from app.services.store.checked_values import required_text
from app.services.units.entry import SUBJECT
from app.storage.models.base import Base
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.reviews import Verdict
from app.storage.models.sound_clips import SoundClip
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, SpeedSetting

OfUnit = (
    SoundMeasurement
    | PowerMeasurement
    | OzoneTest
    | Rating
    | Claim
    | SoundClip
    | Price
    | Consumable
    | SpeedSetting
    | Verdict
)

# Row id and unit, which the record holds already.
_NOT_IN_SNAPSHOT = {"id", "unit_under_test_id", "setting_id", "quantity"}
_UNITS = {
    "_m3_per_h": "m³/h",
    "_dba": "dB(A)",
    "_db": "dB",
    "_ppb": "ppb",
    "_hz": "Hz",
    "_m2": "m²",
    "_m": "m",
    "_w": "W",
    "_s": "s",
}
_WORDS = {
    "sha256": "raw file (SHA-256)",
    "calibration_sha256": "raw file of the calibration (SHA-256)",
    "log_id": "log",
}


def delete_entry(
    session: Session,
    row: OfUnit | ConsumablePrice,
    field: str,
    words: str,
    *,
    who: str,
    why: str,
    unit_id: int = 0,
) -> None:
    """Deletes an entry. Raises InvalidValue without a reason.

    field : name of the entry's kind in the record; words : summary of the entry
    unit_id : its unit, where the row does not name it
    """
    reason = required_text(why, "why", "The reason for removal")
    before = f"{words}\n{row_snapshot(row)}"
    of_unit = unit_id if isinstance(row, ConsumablePrice) else row.unit_under_test_id
    record_change(session, who, "taken back", SUBJECT, of_unit, field, before, None, reason)
    session.delete(row)
    session.flush()


def row_snapshot(row: Base) -> str:
    """All non-empty columns of an entry, with units.

    >>> row_snapshot(OzoneTest(ozone_ppb=3.0, below_detection=False, method="box", source="own"))
    'ozone [ppb]: 3; below detection: no; method: box; source: own'
    """
    found = []
    for attribute in row.__mapper__.column_attrs:
        value = getattr(row, attribute.key)
        if attribute.key in _NOT_IN_SNAPSHOT or value is None or value == "":
            continue
        found.append(f"{_label(attribute.key)}: {' '.join((recorded_text(value) or '').splitlines())}")
    return "; ".join(found)


def _label(column: str) -> str:
    if column in _WORDS:
        return _WORDS[column]
    for ending, unit in _UNITS.items():
        if column.endswith(ending):
            return f"{column.removesuffix(ending).replace('_', ' ')} [{unit}]"
    return column.replace("_", " ")

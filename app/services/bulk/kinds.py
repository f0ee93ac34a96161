"""Kinds of bulk tables: their columns, and how one row is stored, through the same services as a form. A new kind is
one entry here.
"""

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.services.bench.definitions import NewTariff
from app.services.bulk.columns import BulkRow
from app.services.bulk.measurements import add_claim_row, add_ozone_row, add_power_row, add_rating_row, add_sound_row
from app.services.bulk.units import (
    add_consumable_row,
    add_price_row,
    add_setting_row,
    add_tariff_row,
    add_unit_row,
)
from app.services.measurements.definitions import (
    NewClaim,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.store.entry_fields import EntryField, FieldKind, entry_fields
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting, NewUnit

Apply = Callable[[Session, BulkRow, str], str]


def columns_of(definition: Any) -> tuple[EntryField, ...]:
    """The columns of a table of what is defined so."""
    return tuple(field for field in entry_fields(definition) if field.label)


def _column(name: str, label: str, kind: FieldKind) -> EntryField:
    return EntryField(name=name, column=name, kind=kind, label=label, default=None)


_UNIT = tuple(field for field in columns_of(NewUnit) if field.name in ("maker", "model"))
_SETTING = columns_of(NewSetting)[0]


@dataclass(frozen=True, slots=True)
class BulkKind:
    """One kind of table. `apply` stores one row and says what it added; it raises AlreadyStored for an existing
    item.
    """

    name: str
    words: str
    columns: tuple[EntryField, ...]
    apply: Apply

    @property
    def needed(self) -> tuple[str, ...]:
        return tuple(field.column for field in self.columns if field.required or field.evidence)

    @property
    def identifying_columns(self) -> tuple[str, ...]:
        """The columns by which a table of this kind is recognised."""
        return tuple(field.column for field in self.columns if field.required and not field.evidence)


BULK_KINDS = {
    kind.name: kind
    for kind in (
        BulkKind(
            "units",
            "Units under test",
            (
                *columns_of(NewUnit),
                _column("needs_no_consumables", "Known to need no filter or other part", "yes or no"),
            ),
            add_unit_row,
        ),
        BulkKind(
            "settings",
            "Speed settings",
            (*_UNIT, *columns_of(NewSetting)),
            add_setting_row,
        ),
        BulkKind("prices", "Prices of units", (*_UNIT, *columns_of(NewPrice)), add_price_row),
        BulkKind(
            "consumables",
            "Filters and other consumables, with their prices",
            (
                *_UNIT,
                *columns_of(NewConsumable),
                _column("price_per_pack", "Price of a pack", "number"),
                *(
                    dataclasses.replace(field, needed=False, evidence=False)
                    for field in columns_of(NewPrice)
                    if field.name != "amount"
                ),
            ),
            add_consumable_row,
        ),
        BulkKind("ratings", "Third-party ratings", (*_UNIT, *columns_of(NewRating)), add_rating_row),
        BulkKind(
            "claims",
            "Makers' claims",
            (*_UNIT, *columns_of(NewClaim), dataclasses.replace(_SETTING, needed=False)),
            add_claim_row,
        ),
        BulkKind("sound", "Sound levels", (*_UNIT, _SETTING, *columns_of(NewSoundMeasurement)), add_sound_row),
        BulkKind(
            "power",
            "Power",
            (
                *_UNIT,
                dataclasses.replace(_SETTING, label="Name of the setting, or standby"),
                *columns_of(NewPowerMeasurement),
            ),
            add_power_row,
        ),
        BulkKind("ozone", "Ozone tests", (*_UNIT, *columns_of(NewOzoneTest)), add_ozone_row),
        BulkKind("tariffs", "Electricity tariffs", columns_of(NewTariff), add_tariff_row),
    )
}

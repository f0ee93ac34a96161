"""Kinds of bulk tables: their columns, and how one row is stored, through the same services as a form. A new kind is
one entry here.
"""

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.services.bulk.columns import BulkColumn, BulkRow
from app.services.bulk.measurements import add_claim_row, add_ozone_row, add_power_row, add_rating_row, add_sound_row
from app.services.bulk.units import (
    add_consumable_row,
    add_price_row,
    add_setting_row,
    add_tariff_row,
    add_unit_row,
)

Apply = Callable[[Session, BulkRow, str], str]

_UNIT = (
    BulkColumn("maker", "text", "maker of the unit", needed=True),
    BulkColumn("model", "text", "model of the unit", needed=True),
)
_SOURCE = BulkColumn("source", "text", "where it was seen", needed=True, evidence=True)


@dataclass(frozen=True, slots=True)
class BulkKind:
    """One kind of table. `apply` stores one row and says what it added; it raises AlreadyStored for an existing
    item.
    """

    name: str
    words: str
    columns: tuple[BulkColumn, ...]
    apply: Apply

    @property
    def needed(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns if column.needed)

    @property
    def identifying_columns(self) -> tuple[str, ...]:
        """The columns by which a table of this kind is recognised."""
        return tuple(column.name for column in self.columns if column.needed and not column.evidence)


BULK_KINDS = {
    kind.name: kind
    for kind in (
        BulkKind(
            "units",
            "Units under test",
            (
                *_UNIT,
                BulkColumn("kind", "text", "how it cleans, such as mechanical filter"),
                BulkColumn("makes_ozone", "yes or no", "it ionises or uses ultraviolet light"),
                BulkColumn("needs_no_consumables", "yes or no", "known to need no filter or other part"),
                BulkColumn("width_mm", "number", "mm"),
                BulkColumn("depth_mm", "number", "mm"),
                BulkColumn("height_mm", "number", "mm"),
                BulkColumn("mass_kg", "number", "kg"),
                BulkColumn("bought_on", "day", "day of the purchase"),
                BulkColumn("bought_from", "text", "shop, and who paid"),
                BulkColumn("serial_number", "text", "serial number"),
                BulkColumn("notes", "text", "notes"),
            ),
            add_unit_row,
        ),
        BulkKind(
            "settings",
            "Speed settings",
            (
                *_UNIT,
                BulkColumn("setting", "text", "name of the setting", needed=True),
                BulkColumn("position", "whole number", "1 for the slowest"),
                BulkColumn("is_highest", "yes or no", "the fastest setting"),
            ),
            add_setting_row,
        ),
        BulkKind(
            "prices",
            "Prices of units",
            (
                *_UNIT,
                BulkColumn("price", "number", "amount", needed=True),
                BulkColumn("currency", "text", "three letters", needed=True),
                BulkColumn("seen_on", "day", "day on which it was seen", needed=True),
                _SOURCE,
            ),
            add_price_row,
        ),
        BulkKind(
            "consumables",
            "Filters and other parts, with their prices",
            (
                *_UNIT,
                BulkColumn("consumable", "text", "name of the part", needed=True),
                BulkColumn("kind", "text", "filter, washable part, water, additive, lamp or other"),
                BulkColumn("washable", "yes or no", "washed and put back"),
                BulkColumn("pieces_in_use", "whole number", "pieces at work at once"),
                BulkColumn("pack_size", "whole number", "pieces in a pack"),
                BulkColumn("life_months", "number", "months"),
                BulkColumn("life_running_hours", "number", "hours with the fan running"),
                BulkColumn("life_source", "text", "who says how long it lasts; needed with a life"),
                BulkColumn("price_per_pack", "number", "amount"),
                BulkColumn("currency", "text", "three letters"),
                BulkColumn("seen_on", "day", "day on which the price was seen"),
                BulkColumn("source", "text", "where the price was seen; needed with a price"),
                BulkColumn("notes", "text", "notes"),
            ),
            add_consumable_row,
        ),
        BulkKind(
            "ratings",
            "Third-party ratings",
            (
                *_UNIT,
                BulkColumn("aerosol", "text", "smoke, dust or pollen", needed=True),
                BulkColumn("listed", "yes or no", "no: looked for and not found"),
                BulkColumn("value", "number", "rate as listed"),
                BulkColumn("unit", "text", "unit of the value, such as ft³/min"),
                BulkColumn("sister_model", "text", "model that it was given to, if another"),
                BulkColumn("test_standard", "text", "test standard"),
                BulkColumn("edition", "text", "edition of the standard"),
                _SOURCE,
                BulkColumn("seen_on", "day", "day on which it was seen", needed=True),
            ),
            add_rating_row,
        ),
        BulkKind(
            "claims",
            "Makers' claims",
            (
                *_UNIT,
                BulkColumn("quantity", "text", "such as clean_air_delivery_rate, sound_level, room_area", needed=True),
                BulkColumn("value", "number", "as stated"),
                BulkColumn("unit", "text", "unit of the value"),
                BulkColumn("bound", "text", "about, at least or at most"),
                BulkColumn("setting", "text", "setting, if it names one"),
                BulkColumn("aerosol", "text", "smoke, dust or pollen, if it names one"),
                BulkColumn("distance_m", "number", "distance of a sound level, m"),
                BulkColumn("room_area_m2", "number", "floor of a room, m²"),
                BulkColumn("wording", "text", "as printed, one line", needed=True),
                BulkColumn("where_seen", "text", "where it was seen: page, box, manual", needed=True, evidence=True),
                BulkColumn("seen_on", "day", "day on which it was seen", needed=True),
            ),
            add_claim_row,
        ),
        BulkKind(
            "sound",
            "Sound levels",
            (
                *_UNIT,
                BulkColumn("setting", "text", "name of the setting", needed=True),
                BulkColumn("sound_dba", "number", "with the unit on, dB(A)", needed=True),
                BulkColumn("background_dba", "number", "the room with the unit off, dB(A)"),
                BulkColumn("distance_m", "number", "from the unit, m", needed=True),
                BulkColumn("position", "text", "such as front"),
                BulkColumn("environment", "text", "indoor or free field"),
                BulkColumn("instrument", "text", "meter"),
                BulkColumn("instrument_class", "text", "1, 2 or empty"),
                BulkColumn("measured_on", "day", "day", needed=True),
                BulkColumn("measured_by", "text", "who measured it", needed=True, evidence=True),
                BulkColumn("notes", "text", "notes"),
            ),
            add_sound_row,
        ),
        BulkKind(
            "power",
            "Power",
            (
                *_UNIT,
                BulkColumn("setting", "text", "name of the setting, or standby", needed=True),
                BulkColumn("power_w", "number", "W", needed=True),
                BulkColumn("uncertainty_w", "number", "standard uncertainty of the meter, W"),
                BulkColumn("instrument", "text", "meter"),
                BulkColumn("measured_on", "day", "day", needed=True),
                BulkColumn("measured_by", "text", "who measured it", needed=True, evidence=True),
                BulkColumn("notes", "text", "notes"),
            ),
            add_power_row,
        ),
        BulkKind(
            "ozone",
            "Ozone tests",
            (
                *_UNIT,
                BulkColumn("ozone_ppb", "number", "ppb", needed=True),
                BulkColumn("below_detection", "yes or no", "less than the value was found"),
                BulkColumn("method", "text", "method or standard"),
                BulkColumn("tested_on", "day", "day", needed=True),
                _SOURCE,
            ),
            add_ozone_row,
        ),
        BulkKind(
            "tariffs",
            "Electricity tariffs",
            (
                BulkColumn("region", "text", "country, state or supplier", needed=True),
                BulkColumn("price_per_kwh", "number", "price of a kilowatt-hour", needed=True),
                BulkColumn("currency", "text", "three letters", needed=True),
                BulkColumn("valid_from", "day", "day from which it holds", needed=True),
                _SOURCE,
                BulkColumn("standing", "text", "read, read second-hand, from memory or own bill"),
            ),
            add_tariff_row,
        ),
    )
}

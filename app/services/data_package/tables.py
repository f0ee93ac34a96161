"""Tables of a data package: which columns are included, and how values are written and read back.

Names of people, serial numbers and times of processing are omitted: nobody needs them to recompute a number, and
without the times the same data give the same bytes.
"""

import csv
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from io import StringIO
from typing import Any

from sqlalchemy import Column, Integer, Table, Text

from app.services.bench.definitions import NewCheckUnit, NewLogger, NewRoom, NewRoomChange, NewSmokeSource, NewTariff
from app.services.logs.logger_checks.definitions import NewLoggerCheck
from app.services.logs.trial_fields import NewTrial
from app.services.measurements.definitions import (
    NewClaim,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.store.entry_fields import entry_fields
from app.services.units.definitions import NewConsumable, NewPrice, NewUnit
from app.storage.column_types import Day, Flag, UtcTime
from app.storage.models.all_models import METADATA

# Input data, in an order in which each row follows the rows it refers to.
GIVEN_TABLES = (
    "tariffs",
    "bench",
    "rooms",
    "smoke_sources",
    "loggers",
    "units_under_test",
    "speed_settings",
    "room_changes",
    "check_units",
    "prices",
    "consumables",
    "consumable_prices",
    "logs",
    "log_channels",
    "logger_checks",
    "trials",
    "sound_measurements",
    "power_measurements",
    "ozone_tests",
    "ratings",
    "claims",
)
# Computed results.
RESULT_TABLES = (
    "natural_decay_pools",
    "natural_decay_pool_runs",
    "channel_results",
    "result_notes",
    "bench_repeatability",
    "setting_summaries",
)
_DEFINITIONS = (
    NewUnit,
    NewPrice,
    NewConsumable,
    NewRoom,
    NewRoomChange,
    NewCheckUnit,
    NewLogger,
    NewLoggerCheck,
    NewSmokeSource,
    NewTariff,
    NewSoundMeasurement,
    NewPowerMeasurement,
    NewOzoneTest,
    NewRating,
    NewClaim,
    NewTrial,
)
STAYS_AT_THE_DESK = {field.name for each in _DEFINITIONS for field in entry_fields(each) if field.private} | {
    "created_at",
    "stored_at",
    "computed_at",
    "trashed_at",
    "excluded_by",
    "profile_id",
    "publication",
    "publication_font",
    "publication_ink",
    "publication_accent",
    "licence",
}
# the last four are full-width forms of the first, which some spreadsheets treat alike
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_TYPES = ((Flag, "boolean"), (Day, "date"), (UtcTime, "datetime"), (Integer, "integer"), (Text, "string"))


@dataclass(frozen=True, slots=True)
class PackageField:
    """One column of a packaged table. `kind` is a type of the Table Schema standard."""

    name: str
    kind: str
    required: bool


def packaged_columns(table_name: str) -> list[Column[Any]]:
    return [column for column in _table(table_name).columns if column.name not in STAYS_AT_THE_DESK]


def packaged_fields(table_name: str) -> list[PackageField]:
    return [
        PackageField(column.name, _kind(column), not column.nullable and _kind(column) != "string")
        for column in packaged_columns(table_name)
    ]


def table_schema(table_name: str, present: Collection[str]) -> dict[str, Any]:
    """Table Schema with keys; a foreign key is named only if its target table is in the package."""
    table = _table(table_name)
    kept = {column.name for column in packaged_columns(table_name)}
    schema: dict[str, Any] = {
        "fields": [field_descriptor(field) for field in packaged_fields(table_name)],
        "missingValues": [""],
        "primaryKey": [column.name for column in table.primary_key if column.name in kept],
    }
    references = [
        {
            "fields": [key.parent.name],
            "reference": {"resource": key.column.table.name.replace("_", "-"), "fields": [key.column.name]},
        }
        for key in sorted(table.foreign_keys, key=lambda key: key.parent.name)
        if key.parent.name in kept and key.column.table.name in present
    ]
    return schema | ({"foreignKeys": references} if references else {})


def field_descriptor(field: PackageField) -> dict[str, Any]:
    said: dict[str, Any] = {"name": field.name, "type": field.kind}
    if field.kind == "boolean":
        said |= {"trueValues": ["true"], "falseValues": ["false"]}
    return said | ({"constraints": {"required": True}} if field.required else {})


def csv_of(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """Rows as CSV in UTF-8, with every digit of each number."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([written(value) for value in row] for row in rows)
    return out.getvalue().encode()


def written(value: Any) -> str:
    """A value as text. Text that a spreadsheet would run as a formula gets an apostrophe in front.

    >>> written(0.1), written(None), written(True), written("=1+1"), written("'=1")
    ('0.1', '', 'true', "'=1+1", "''=1")
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    return f"'{text}" if text.lstrip("'").startswith(_FORMULA_STARTS) and isinstance(value, str) else text


def values_from(table_name: str, record: dict[str, str]) -> dict[str, Any]:
    """A row of the store from a row of a package; an empty cell is empty text in columns that are not nullable.

    Raises ValueError for text that is not a value of its column.
    """
    return {
        column.name: _read_back(column, record[column.name])
        for column in packaged_columns(table_name)
        if column.name in record
    }


def _read_back(column: Column[Any], text: str) -> Any:
    kind = _kind(column)
    if text == "":
        return "" if kind == "string" and not column.nullable else None
    if kind == "string":
        return text[1:] if text.startswith("'") and text.lstrip("'").startswith(_FORMULA_STARTS) else text
    if kind == "boolean":
        return text == "true"
    if kind == "integer":
        return int(text)
    if kind == "number":
        return float(text)
    return date.fromisoformat(text) if kind == "date" else datetime.fromisoformat(text)


def _kind(column: Column[Any]) -> str:
    return next((kind for of_store, kind in _TYPES if isinstance(column.type, of_store)), "number")


def _table(name: str) -> Table:
    return METADATA.tables[name]

"""What is stored of each unit that ranking, costs and advice are computed from, read once for all of them."""

from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple, TypeVar

from app.compute.cost_and_energy.consumable_life import ConsumablePart
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import HIGHEST, Offered, RankingChoices
from app.services.snapshot.consumable_parts import parts_needed, read_consumable_parts
from app.services.snapshot.setting_rows import IndexRow, RankingRow, read_ranking_rows, read_rows_of_unit
from app.services.snapshot.setting_sound import NOT_MEASURED, SettingSound, read_setting_sounds


class Conditions(NamedTuple):
    """Under which conditions units are read.

    highest_only : each unit with its highest setting alone
    currency : prices in it go before any other
    """

    channel: str
    aerosol: str
    room_id: int | None
    highest_only: bool
    currency: str
    standard_distance_m: float
    sound_correction_rule: str

    @property
    def choices(self) -> RankingChoices:
        return RankingChoices(channel=self.channel, aerosol=self.aerosol, room_id=self.room_id)


def conditions_of(filled: RankingChoices, offered: Offered, currency: str = "") -> Conditions:
    """The conditions of choices that were filled from the bench; `currency`: another one than the bench's."""
    return Conditions(
        filled.channel,
        filled.aerosol,
        filled.room_id,
        filled.setting == HIGHEST,
        currency or offered.currency,
        offered.standard_distance_m,
        offered.sound_correction_rule,
    )


class StoredUnit(NamedTuple):
    """One unit: a row for each of its settings (one for a unit without any).

    sounds, parts : of all units that were read together, by the id of the setting and of the unit
    """

    rows: tuple[RankingRow, ...]
    sounds: Mapping[int, SettingSound]
    parts: Mapping[int, tuple[ConsumablePart, ...]]

    @property
    def id(self) -> int:
        return self.rows[0].unit_id

    @property
    def name(self) -> str:
        return f"{self.rows[0].maker} {self.rows[0].model}"

    @property
    def consumables(self) -> tuple[ConsumablePart, ...] | None:
        """None where it is not recorded whether the unit needs any."""
        return parts_needed(self.parts.get(self.id, ()), self.rows[0].consumables_state)

    def sound_of(self, row: RankingRow) -> SettingSound | None:
        """None where the unit has no setting."""
        return None if row.setting_id is None else self.sounds.get(row.setting_id, NOT_MEASURED)


def stored_units(snapshot: BenchSnapshot, conditions: Conditions) -> Mapping[int, StoredUnit]:
    """Unit id to what is stored of it, of all units outside the trash."""
    return snapshot.by_unit(_read, conditions)


def index_rows(
    snapshot: BenchSnapshot, conditions: Conditions, unit_ids: Collection[int] | None
) -> Mapping[int, tuple[IndexRow, ...]]:
    """Of all or some units, the rows by which lines are put in order."""
    by_unit: dict[int, tuple[IndexRow, ...]] = {}
    for row in _rows(snapshot, conditions, unit_ids, IndexRow):
        by_unit[row.unit_id] = (*by_unit.get(row.unit_id, ()), row)
    return by_unit


def some_stored_units(
    snapshot: BenchSnapshot, conditions: Conditions, unit_ids: Collection[int]
) -> Mapping[int, StoredUnit]:
    """The same of these units."""
    return snapshot.some_units(_read, conditions, unit_ids)


def stored_unit(snapshot: BenchSnapshot, unit_id: int, conditions: Conditions) -> StoredUnit | None:
    """One unit with all its settings, also where it is in the trash; None where there is no such unit."""
    return snapshot.view(_read_one, (unit_id, conditions._replace(highest_only=False)))


def _read_one(snapshot: BenchSnapshot, asked: tuple[int, Conditions]) -> StoredUnit | None:
    unit_id, conditions = asked
    connection = snapshot.session.connection()
    rows = read_rows_of_unit(connection, unit_id, conditions.choices, conditions.currency)
    return _put_together(snapshot, rows, conditions, (unit_id,)).get(unit_id)


def _read(
    snapshot: BenchSnapshot, conditions: Conditions, unit_ids: Collection[int] | None
) -> Mapping[int, StoredUnit]:
    return _put_together(snapshot, _rows(snapshot, conditions, unit_ids, RankingRow), conditions, unit_ids)


_Row = TypeVar("_Row", RankingRow, IndexRow)


def _rows(
    snapshot: BenchSnapshot, conditions: Conditions, unit_ids: Collection[int] | None, row: type[_Row]
) -> list[_Row]:
    return read_ranking_rows(
        snapshot.session.connection(),
        conditions.choices,
        conditions.currency,
        row=row,
        highest_only=conditions.highest_only,
        unit_ids=unit_ids,
    )


def _put_together(
    snapshot: BenchSnapshot, rows: Iterable[RankingRow], conditions: Conditions, unit_ids: Collection[int] | None
) -> dict[int, StoredUnit]:
    connection = snapshot.session.connection()
    sounds = read_setting_sounds(
        connection,
        standard_distance_m=conditions.standard_distance_m,
        rule=conditions.sound_correction_rule,
        highest_only=conditions.highest_only,
        unit_ids=unit_ids,
    )
    parts = read_consumable_parts(connection, conditions.currency, unit_ids)
    by_unit: dict[int, list[RankingRow]] = {}
    for row in rows:
        by_unit.setdefault(row.unit_id, []).append(row)
    return {unit_id: StoredUnit(tuple(of_unit), sounds, parts) for unit_id, of_unit in by_unit.items()}

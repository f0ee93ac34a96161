"""Comparison of two to eight settings: their data, and which differences are significant."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.comparison.difference import Comparison
from app.compute.comparison.rank_intervals import RankTable, rank_by_clean_air
from app.errors import InvalidValue, NotFound
from app.services.measurements.comparable_sound import read_comparable_sound
from app.services.ranking.compared_quantities import QUANTITIES, Finding, compared
from app.services.ranking.compared_setting import ComparedSetting
from app.services.ranking.rank_intervals import names_of
from app.services.ranking.rows import read_ranking_table
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EVERY, AvailableRoom, Offered, RankingChoices, read_offered
from app.services.snapshot.settings_in_rooms import read_tested_settings
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

FEWEST, MOST = 2, 8


@dataclass(frozen=True, slots=True)
class SettingsCompared:
    """Result of a comparison.

    settings : in the requested order; the first is the baseline
    findings : for each quantity, the findings of the other settings against the baseline, in order
    clean_air_ranks : ranking by clean air delivery rate of those that have one, with statistical ties
    room : test room; a setting that was not tested in it has no rates here
    """

    settings: tuple[ComparedSetting, ...]
    findings: dict[str, tuple[Finding, ...]]
    clean_air_ranks: RankTable
    choices: RankingChoices
    offered: Offered
    room: AvailableRoom | None

    def of_pair(self, quantity: str) -> Comparison | None:
        """The figures of a quantity if exactly two are compared."""
        return self.findings[quantity][0].comparison if len(self.settings) == FEWEST else None


def compare_settings(
    snapshot: BenchSnapshot, setting_ids: Sequence[int], choices: RankingChoices | None = None
) -> SettingsCompared:
    """Compares settings in the room, channel and aerosol of the ranking's choices.

    Raises InvalidValue for fewer than two settings, more than eight, or the same one twice; NotFound for one that is
    not on the bench.
    """
    _check(setting_ids)
    asked = replace(choices or RankingChoices(), setting=EVERY)
    filled, offered = read_offered(snapshot, asked)
    wanted = set(setting_ids)
    table = read_ranking_table(snapshot, asked)
    present = {line.row.setting_id: line for line in table.lines if line.row.setting_id in wanted}
    for setting_id in setting_ids:
        if setting_id not in present:
            raise NotFound("speed setting", setting_id)
    lines = [present[setting_id] for setting_id in setting_ids]
    tested = read_tested_settings(snapshot, filled.channel, filled.aerosol, filled.room_id)
    sounds = read_comparable_sound(
        snapshot.session,
        setting_ids,
        standard_distance_m=offered.standard_distance_m,
        rule=offered.sound_correction_rule,
    )
    names = names_of(lines)
    settings = tuple(
        ComparedSetting(setting_id, names[setting_id], line, tested.get(setting_id), sounds.get(setting_id))
        for setting_id, line in zip(setting_ids, lines, strict=True)
    )
    first = settings[0]
    return SettingsCompared(
        settings=settings,
        findings={
            quantity: tuple(compared(quantity, first, other, offered.currency) for other in settings[1:])
            for quantity in QUANTITIES
        },
        clean_air_ranks=_clean_air_ranks(settings),
        choices=filled,
        offered=offered,
        room=offered.room(filled.room_id),
    )


def highest_settings(session: Session, unit_ids: Sequence[int]) -> tuple[int, ...]:
    """The highest setting of each unit, in the order of the units; NotFound for a unit without settings."""
    rows = session.execute(
        select(SpeedSetting.unit_under_test_id, SpeedSetting.id)
        .join(UnitUnderTest, UnitUnderTest.id == SpeedSetting.unit_under_test_id)
        .where(SpeedSetting.unit_under_test_id.in_(unit_ids), UnitUnderTest.trashed_at.is_(None))
        .order_by(SpeedSetting.is_highest, SpeedSetting.position, SpeedSetting.id)
    ).all()
    highest = {row[0]: row[1] for row in rows}  # the last of each unit wins
    for unit_id in unit_ids:
        if unit_id not in highest:
            raise NotFound("unit with a speed setting under the number", unit_id)
    return tuple(highest[unit_id] for unit_id in unit_ids)


def _clean_air_ranks(settings: Sequence[ComparedSetting]) -> RankTable:
    tested = {s.setting_id: s.tested for s in settings if s.tested is not None}
    return rank_by_clean_air(
        {key: found.in_room for key, found in tested.items() if found.measurable and found.in_room is not None},
        [key for key, found in tested.items() if found.in_room is not None and not found.measurable],
    )


def _check(setting_ids: Sequence[int]) -> None:
    if not FEWEST <= len(setting_ids) <= MOST:
        raise InvalidValue(
            f"{len(setting_ids)} settings were selected; a comparison takes {FEWEST} to {MOST}. "
            f"{'Add one' if len(setting_ids) < FEWEST else 'Remove some'}.",
            field="setting_id",
        )
    twice = sorted({s for s in setting_ids if list(setting_ids).count(s) > 1})
    if twice:
        raise InvalidValue(
            f"Setting {twice[0]} was selected twice. Remove one.",
            field="setting_id",
        )

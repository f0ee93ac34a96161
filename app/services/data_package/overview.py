"""Results per setting as published in the ranking, one row each, for quoting."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.services.data_package.tables import PackageField
from app.services.ranking.rows import RankedSetting, read_ranking_table
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import EVERY, RankingChoices
from app.storage.models.summaries import SettingSummary

# Copied from the ranking line.
_FROM_ROW = (
    "price",
    "power_w",
    "power_uncertainty_w",
    "standby_power_w",
    "clean_air_delivery_rate_m3_per_h",
    "clean_air_delivery_rate_uncertainty",
    "clean_air_delivery_rate_low_95",
    "clean_air_delivery_rate_high_95",
    "at_most_m3_per_h",
    "standard_clearing_time_min",
    "standard_clearing_time_low_95_min",
    "standard_clearing_time_high_95_min",
    "time_to_clear_min",
    "time_to_clear_low_min",
    "time_to_clear_high_min",
    "not_cleared_before_min",
)
OVERVIEW_KEYS = ("setting_id", "room_id", "channel", "aerosol")
OVERVIEW_FIELDS = (
    PackageField("setting_id", "integer", True),
    PackageField("room_id", "integer", True),
    PackageField("channel", "string", False),
    PackageField("aerosol", "string", False),
    PackageField("unit_under_test_id", "integer", True),
    PackageField("unit", "string", False),
    PackageField("setting", "string", False),
    *(PackageField(name, "number", False) for name in _FROM_ROW),
    PackageField("sound_dba", "number", False),
    PackageField("sound_is_upper_bound", "boolean", False),
    PackageField("running_cost_per_year", "number", False),
    PackageField("running_cost_uncertainty_per_year", "number", False),
    PackageField("running_cost_is_lower_bound", "boolean", False),
    PackageField("currency", "string", False),
)


def overview_rows(session: Session, unit_ids: Sequence[int] | None = None) -> list[tuple[Any, ...]]:
    """One row for each setting, room, channel and aerosol that has a summary, in the order of `OVERVIEW_FIELDS`."""
    wanted = (
        select(SettingSummary.channel, SettingSummary.aerosol, SettingSummary.room_id)
        .distinct()
        .order_by(SettingSummary.room_id, SettingSummary.channel, SettingSummary.aerosol)
    )
    if unit_ids is not None:
        wanted = wanted.where(SettingSummary.unit_under_test_id.in_(unit_ids))
    rows = []
    for channel, aerosol, room_id in session.execute(wanted).all():
        choices = RankingChoices(setting=EVERY, channel=channel, aerosol=aerosol, room_id=room_id)
        table = read_ranking_table(current_snapshot(session), choices)
        for line in sorted(table.lines, key=lambda line: line.row.setting_id or 0):
            if line.row.summary_id is not None and (unit_ids is None or line.row.unit_id in unit_ids):
                rows.append(_row(line, room_id, channel, aerosol, table.offered.currency))
    return rows


def _row(line: RankedSetting, room_id: int, channel: str, aerosol: str, currency: str) -> tuple[Any, ...]:
    row, sound, cost = line.row, line.sound, line.cost
    is_unknown = cost is not None and cost.at_least and cost.total_per_year == 0
    return (
        row.setting_id,
        room_id,
        channel,
        aerosol,
        row.unit_id,
        f"{row.maker} {row.model}",
        row.setting,
        *(getattr(row, name) for name in _FROM_ROW),
        None if sound is None else sound.level_dba,
        None if sound is None or sound.level_dba is None else sound.is_upper_bound,
        None if cost is None or is_unknown else cost.total_per_year,
        None if cost is None or is_unknown else cost.uncertainty_per_year,
        None if cost is None else cost.at_least,
        currency,
    )

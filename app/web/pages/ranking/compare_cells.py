"""Cells of a comparison: those of the ranking, with more intervals."""

from collections.abc import Mapping

from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import measured_text
from app.services.ranking.compared_setting import ComparedSetting
from app.web.pages.cells import Cell


def with_intervals(setting: ComparedSetting, cells: Mapping[str, Cell]) -> dict[str, Cell]:
    """The same cells, with the 95 % interval below air changes, sound and power."""
    found = dict(cells)
    row = setting.line.row
    rate, low, high = (
        row.clean_air_delivery_rate_m3_per_h,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    in_room = setting.tested.in_room if setting.tested is not None else None
    if in_room is not None and None not in (rate, low, high) and found["air_changes"].kind == "value":
        volume = in_room.volume.value
        words = measured_text(*((part or 0.0) / volume for part in (rate, None, low, high)))
        found["air_changes"] = found["air_changes"]._replace(text=words.value, below=words.interval)
    levels = {
        "sound": setting.sound.level.level_dba if setting.sound is not None else None,
        "power": setting.power,
    }
    for column, value in levels.items():
        if value is not None and value.uncertainty > 0 and found[column].kind in ("value", "estimate"):
            found[column] = _below(found[column], value)
    return found


def _below(cell: Cell, value: Measured) -> Cell:
    words = measured_text(value.value, value.uncertainty, *value.interval_95)
    return cell._replace(text=words.value, below=words.interval)

"""Cells of a comparison: those of the ranking, with more intervals."""

from dataclasses import replace

from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import measured_text
from app.services.ranking.compared_setting import ComparedSetting
from app.web.pages.cells import Cell

# indices in cells_of_line
_AIR_CHANGES, _SOUND, _POWER = 1, 4, 5


def with_intervals(setting: ComparedSetting, cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
    """The same cells, with the 95 % interval below air changes, sound and power."""
    found = list(cells)
    row = setting.line.row
    rate, low, high = (
        row.clean_air_delivery_rate_m3_per_h,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    in_room = setting.tested.in_room if setting.tested is not None else None
    if in_room is not None and None not in (rate, low, high) and found[_AIR_CHANGES].kind == "value":
        volume = in_room.volume.value
        words = measured_text(*((part or 0.0) / volume for part in (rate, None, low, high)))
        found[_AIR_CHANGES] = replace(found[_AIR_CHANGES], text=words.value, below=words.interval)
    levels = {
        _SOUND: setting.sound.level.level_dba if setting.sound is not None else None,
        _POWER: setting.power,
    }
    for place, value in levels.items():
        if value is not None and value.uncertainty > 0 and found[place].kind in ("value", "estimate"):
            found[place] = _below(found[place], value)
    return tuple(found)


def _below(cell: Cell, value: Measured) -> Cell:
    words = measured_text(value.value, value.uncertainty, *value.interval_95)
    return replace(cell, text=words.value, below=words.interval)

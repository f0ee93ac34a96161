"""The ranking: chosen settings, filtered, sorted and paged, with the number removed by each filter.

No statistics are computed here: rates, intervals and clearing times come from `setting_summaries`.
The page and the API show the same `Ranking`.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic

from app.compute.clean_air.room_need import need_by_155_rule, need_by_air_changes
from app.services.ranking.rows import (
    IndexedSetting,
    Line,
    RankedSetting,
    RankingTable,
    UnitLines,
    lines_of_unit,
    ranked_settings,
    read_ranking_index,
    read_ranking_table,
)
from app.services.ranking.sort import INDEX_SORTS, level_of, price_of, sorted_lines
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import (
    EVERY,
    HIGHEST,
    QUIETEST,
    ROOM_RULES,
    AvailableRoom,
    Offered,
    RankingChoices,
    filled_choices,
)

__all__ = ["RankedSetting", "Ranking", "UnitLines", "lines_of_unit", "rank", "rank_units"]

_MOST_READ_ALONE = 200  # with more lines shown, reading the whole of all lines at once is faster


@dataclass(frozen=True, slots=True)
class Removed:
    """Units removed by one filter: its field, their number, and why."""

    field: str
    units: int
    why: str


@dataclass(frozen=True, slots=True)
class Ranking:
    """Result of ranking.

    lines : the lines of this page
    total_lines, total_units : lines and units that passed the filters
    units_on_bench : all units outside the trash
    removed : removals of each filter, in the order of application
    choices : the choices with the bench's defaults filled in
    leader, last : the lines with the highest and the lowest rate distinguishable from zero
    not_measurable, without_rate : lines with a rate not distinguishable from zero, and lines without one
    highest_rate_m3_per_h, longest_time_min : ends of the common scales, over all lines
    needed_rate_m3_per_h : rate needed by the reader's room, None without a room
    """

    lines: tuple[RankedSetting, ...]
    total_lines: int
    total_units: int
    units_on_bench: int
    removed: tuple[Removed, ...]
    choices: RankingChoices
    offered: Offered
    room: AvailableRoom | None
    kinds: tuple[str, ...]
    leader: RankedSetting | None
    last: RankedSetting | None
    not_measurable: int
    without_rate: int
    highest_rate_m3_per_h: float
    longest_time_min: float
    needed_rate_m3_per_h: float | None


def rank_units(snapshot: BenchSnapshot, choices: RankingChoices | None = None) -> Ranking:
    """Ranks the units of the bench. Raises InvalidValue for an unknown option."""
    return snapshot.view(_ranking, choices or RankingChoices())


def _ranking(snapshot: BenchSnapshot, choices: RankingChoices) -> Ranking:
    if snapshot.is_large and choices.limit <= _MOST_READ_ALONE and _is_in_index(choices):
        return _ranked(snapshot, read_ranking_index(snapshot, choices), choices, _whole)
    return rank(snapshot, read_ranking_table(snapshot, choices), choices)


def _is_in_index(choices: RankingChoices) -> bool:
    """Whether the order follows from the index: neither sound, watts nor money matter."""
    limits = (choices.max_price, choices.max_sound_dba)
    return choices.setting != QUIETEST and choices.sort in INDEX_SORTS and limits == (None, None)


def rank(snapshot: BenchSnapshot, table: RankingTable[RankedSetting], choices: RankingChoices) -> Ranking:
    """The ranking from a table that was read for these choices, or from a part of one."""
    return _ranked(snapshot, table, choices, lambda _snapshot, _choices, lines: lines)


def _whole(snapshot: BenchSnapshot, choices: RankingChoices, lines: list[IndexedSetting]) -> list[RankedSetting]:
    whole = ranked_settings(snapshot, choices, lines)
    return [whole[line.row.unit_id, line.row.setting_id] for line in lines]


def _ranked(
    snapshot: BenchSnapshot,
    table: RankingTable[Line],
    choices: RankingChoices,
    whole: Callable[[BenchSnapshot, RankingChoices, list[Line]], list[RankedSetting]],
) -> Ranking:
    """whole : gives the whole of the lines that are shown"""
    offered, lines = table.offered, table.lines
    filled = filled_choices(choices, offered)
    on_bench = {line.row.unit_id for line in lines}
    kinds = tuple(sorted({line.row.kind for line in lines}))
    chosen, units, removed = _filtered(_at_chosen_setting(lines, filled.setting), filled, offered, on_bench)
    ordered = sorted_lines(snapshot, chosen, filled, offered)
    ends = _ends(ordered)
    shown = ordered[filled.offset : filled.offset + filled.limit]
    named = [line for line in (ends.leader, ends.last) if line is not None]
    read = whole(snapshot, choices, shown + named)
    leader, last = read[len(shown) :] if named else (None, None)
    return Ranking(
        lines=tuple(read[: len(shown)]),
        total_lines=len(ordered),
        total_units=len(units),
        units_on_bench=len(on_bench),
        removed=removed,
        choices=filled,
        offered=offered,
        room=offered.room(filled.room_id),
        kinds=kinds,
        leader=leader,
        last=last,
        not_measurable=ends.not_measurable,
        without_rate=ends.without_rate,
        highest_rate_m3_per_h=ends.highest_rate_m3_per_h,
        longest_time_min=ends.longest_time_min,
        needed_rate_m3_per_h=needed_rate_m3_per_h(filled),
    )


@dataclass(slots=True)
class _Ends(Generic[Line]):
    """Extremes of a table for sentences and scales; names as in `Ranking`. There is either both a leader and a last."""

    leader: Line | None = None
    last: Line | None = None
    not_measurable: int = 0
    without_rate: int = 0
    highest_rate_m3_per_h: float = 0.0
    longest_time_min: float = 0.0


def _ends(lines: Sequence[Line]) -> _Ends[Line]:
    """In one pass, because a bench may have thousands of lines; of equal rates the first line counts."""
    ends = _Ends[Line]()
    highest, lowest = -math.inf, math.inf
    for line in lines:
        row = line.row
        rate = row.clean_air_delivery_rate_m3_per_h
        if row.measurable == 0:
            ends.not_measurable += 1
        if rate is None:
            ends.without_rate += 1
        elif row.measurable == 1:
            if rate > highest:
                highest, ends.leader = rate, line
            if rate < lowest:
                lowest, ends.last = rate, line
        top = row.clean_air_delivery_rate_high_95 or rate
        if top is not None and top > ends.highest_rate_m3_per_h:
            ends.highest_rate_m3_per_h = top
        if row.summary_id is not None:
            for time in (row.time_to_clear_min, row.not_cleared_before_min):
                if time is not None and time > ends.longest_time_min:
                    ends.longest_time_min = time
    return ends


def needed_rate_m3_per_h(choices: RankingChoices) -> float | None:
    """Clean air delivery rate that the reader's room needs by the chosen rule [m³/h].

    1.55 rule: the floor in square feet is at most 1.55 times the rate in cubic feet a minute; it assumes a ceiling
    of 8 ft and so 4.84 air changes an hour. Air changes: floor times height times the air changes asked for.

    >>> round(needed_rate_m3_per_h(RankingChoices(room_area_m2=20.0)), 1)
    236.0
    >>> needed_rate_m3_per_h(RankingChoices(room_area_m2=20.0, room_rule="air changes", room_height_m=2.5))
    250.0
    """
    if choices.room_area_m2 is None:
        return None
    if choices.room_rule == ROOM_RULES[0]:
        return need_by_155_rule(choices.room_area_m2).rate_m3_per_h
    return need_by_air_changes(choices.room_area_m2, choices.room_height_m, choices.air_changes_per_h).rate_m3_per_h


def _at_chosen_setting(lines: Sequence[Line], setting: str) -> list[Line]:
    """Lines of the chosen setting. Quietest: the lowest measured level, else the slowest setting."""
    if setting in (HIGHEST, EVERY):
        return list(lines)  # the query has omitted the others
    if setting != QUIETEST:
        name = setting.casefold()
        return [line for line in lines if (line.row.setting or "").casefold() == name]
    return _quietest(lines)


def _quietest(lines: Sequence[Any]) -> list[Any]:
    quietest: dict[int, tuple[tuple[bool, float, int], RankedSetting]] = {}
    for line in lines:
        level = None if line.sound is None else line.sound.level_dba
        key = (level is None, level or 0.0, line.row.position or 0)
        if line.row.unit_id not in quietest or key < quietest[line.row.unit_id][0]:
            quietest[line.row.unit_id] = (key, line)
    return [line for _, line in quietest.values()]


def _filtered(
    lines: list[Line], choices: RankingChoices, offered: Offered, on_bench: set[int]
) -> tuple[list[Line], set[int], tuple[Removed, ...]]:
    """The lines that pass, their units, and the units removed by each filter; a unit counts at the filter that removes
    its last line.
    """
    removed = []
    units = on_bench if choices.setting in (HIGHEST, EVERY, QUIETEST) else {line.row.unit_id for line in lines}
    if len(units) < len(on_bench):
        removed.append(Removed("setting", len(on_bench) - len(units), f"without a setting named “{choices.setting}”"))
    for field, passes, why in _filters(choices, offered):
        lines = [line for line in lines if passes(line)]
        left = {line.row.unit_id for line in lines}
        if len(left) < len(units):
            removed.append(Removed(field, len(units) - len(left), why))
        units = left
    return lines, units, tuple(removed)


def _filters(choices: RankingChoices, offered: Offered) -> Iterable[tuple[str, Callable[[Any], bool], str]]:
    """The active filters in order of application. A missing value fails a limit."""
    if choices.search.strip():
        words = choices.search.casefold().split()
        yield (
            "search",
            lambda line: all(word in f"{line.row.maker} {line.row.model} {line.row.kind}".casefold() for word in words),
            f"not matching “{choices.search.strip()}”",
        )
    if choices.kind:
        yield "kind", lambda line: line.row.kind == choices.kind, f"not of type {choices.kind}"
    if (ceiling := choices.max_price) is not None:
        yield "max_price", lambda line: price_of(line, offered) is not None, f"without a price in {offered.currency}"
        yield (
            "max_price",
            lambda line: (price_of(line, offered) or 0.0) <= ceiling,
            f"more expensive than {ceiling:g}\u00a0{offered.currency}",
        )
    if (loudest := choices.max_sound_dba) is not None:
        yield "max_sound_dba", lambda line: level_of(line) is not None, "without a sound level at this setting"
        yield (
            "max_sound_dba",
            lambda line: (level_of(line) or 0.0) <= loudest,
            f"louder than {loudest:g}\u00a0dB(A)",
        )
    if (needed := needed_rate_m3_per_h(choices)) is not None:
        yield (
            "room_area_m2",
            lambda line: line.row.clean_air_delivery_rate_m3_per_h is not None,
            "without a clean air delivery rate",
        )
        yield (
            "room_area_m2",
            lambda line: line.has_rate and (line.row.clean_air_delivery_rate_m3_per_h or 0.0) >= needed,
            f"too weak for {choices.room_area_m2:g}\u00a0m²",
        )

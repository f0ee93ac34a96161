"""Cells of the rank column: rank, rank interval, and brackets around statistical ties."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from app.services.ranking.table import RankedSetting, Ranking

if TYPE_CHECKING:
    from app.services.ranking.rank_intervals import RankView

MOST_RANKED_AT_ONCE = 200  # with more lines the page comes first and the rank intervals are fetched after it
MOST_LANES = 3  # brackets side by side; the rank intervals of further groups are still written out
RANK_WORDS = {
    "clean_air_delivery_rate": "by rate",
    "standard_clearing_time": "by time",
    "sound": "by sound",
    "power": "by power",
    "running_cost": "by cost",
}


class Tie(NamedTuple):
    """The piece of a bracket in one line.

    lane : 1 next to the names
    part : "start", "middle" or "end"
    """

    lane: int
    part: str


class RankCell(NamedTuple):
    """Rank of one line; `interval` only where the rank is not certain."""

    place: str = ""
    interval: str = ""
    ties: tuple[Tie, ...] = ()


_NONE = RankCell()


def ranked_by(ranking: Ranking) -> str:
    """The quantity of the rank column: the sorted one where it can be ranked, else the clean air delivery rate."""
    return ranking.choices.sort if ranking.choices.sort in RANK_WORDS else "clean_air_delivery_rate"


def rank_cells(ranking: Ranking, view: "RankView | None") -> tuple[RankCell, ...]:
    """A cell for each line shown. Without a `RankView` there is only the order of the rates."""
    if view is None:
        return _places(ranking)
    rows = {one.row.key: one.row for one in view.lines}
    ties = _ties(ranking.lines, [[one.row.key for one in group] for group in view.groups])
    cells = []
    for line in ranking.lines:
        key = line.row.setting_id
        row = None if key is None else rows.get(key)
        if row is None or row.place is None:
            cells.append(RankCell("–") if row is not None else _NONE)
            continue
        low, high = row.rank_low_95, row.rank_high_95
        interval = "" if low == high else f"{low} to {high}"
        cells.append(RankCell(str(row.place), interval, ties.get(row.key, ())))
    return tuple(cells)


def _places(ranking: Ranking) -> tuple[RankCell, ...]:
    chosen = ranking.choices
    if chosen.sort != "clean_air_delivery_rate" or not chosen.larger_first:
        return (_NONE,) * len(ranking.lines)
    return tuple(
        RankCell(str(place)) if line.has_rate else _NONE
        for place, line in enumerate(ranking.lines, start=chosen.offset + 1)
    )


def _ties(lines: Sequence[RankedSetting], groups: Sequence[Sequence[int]]) -> Mapping[int, tuple[Tie, ...]]:
    """Brackets of the groups whose lines are neighbours in the order shown, in as few lanes as possible."""
    at = {line.row.setting_id: index for index, line in enumerate(lines)}
    spans = []
    for group in groups:
        shown = sorted(at[key] for key in group if key in at)
        if not shown or shown[-1] - shown[0] + 1 != len(shown):
            continue
        cut = len(shown) < len(group)  # the rest of the group is on the page before or after this one
        spans.append((shown[0], shown[-1], cut and shown[0] == 0, cut and shown[-1] == len(lines) - 1))
    found: dict[int, list[Tie]] = {}
    free_from = [0] * MOST_LANES
    for first, last, goes_up, goes_down in sorted(spans):
        lane = next((lane for lane, free in enumerate(free_from) if free <= first), None)
        if lane is None or (first == last and not (goes_up or goes_down)):
            continue
        free_from[lane] = last + 1
        for index in range(first, last + 1):
            part = "start" if index == first and not goes_up else "middle"
            part = "end" if index == last and not goes_down else part
            key = lines[index].row.setting_id
            if key is not None:
                found.setdefault(key, []).append(Tie(lane + 1, part))
    return {key: tuple(ties) for key, ties in found.items()}

"""Simultaneous rank intervals of the ranking, as on the page."""

from typing import Annotated, Literal

from fastapi import Query
from pydantic import BaseModel

from app.services.snapshot.choices import check_part
from app.web.api.ranking.routes import RankingQuery, ranking_choices_of
from app.web.api.shapes import OfBench, of_bench, problem_answers
from app.web.api.trials.shapes import Named
from app.web.dependencies import SessionDep, SnapshotDep
from app.web.routers import api_router

router = api_router("ranking")


class RankOrderQuery(RankingQuery):
    """Filters of the ranking, and the ranked quantity; `limit` lines from `cursor` on."""

    by: Literal["clean_air_delivery_rate", "standard_clearing_time", "sound", "power", "running_cost"] = (
        "clean_air_delivery_rate"
    )


class RankShape(BaseModel):
    """One line. `place` is null for a rate not distinguishable from zero, which shares the ranks after all others.

    `rank_low_95` to `rank_high_95` : ranks between which it lies, both included, of the kind in `interval_kind`
    `not_told_apart_from` : setting ids of its statistical ties, from all pairs judged together at 95 %
    """

    unit_id: int
    maker: str
    model: str
    setting: Named
    place: int | None
    rank_low_95: int
    rank_high_95: int
    not_told_apart_from: list[int]


class RankOrderShape(OfBench):
    """`interval_kind` : "simultaneous", the rank intervals of all lines hold together with 95 % probability or more.

    `certain_ranks` : number of measured lines with a single possible rank
    `groups` : setting ids of neighbours that are statistical ties; `without_value` : of lines without rank.

    Both are of the whole order, of which `lines` may be a part: the next begins at `next_cursor`.
    """

    by: str
    interval_kind: Literal["simultaneous"]
    certain_ranks: int
    channel: str
    aerosol: str
    room: Named | None
    total_lines: int
    lines: list[RankShape]
    next_cursor: str | None
    groups: list[list[int]]
    without_value: list[int]


@router.get("/ranking/order", responses=problem_answers())
def rank_order(session: SessionDep, snapshot: SnapshotDep, query: Annotated[RankOrderQuery, Query()]) -> RankOrderShape:
    """Ranks between which each setting lies, for all settings together at 95 %."""
    from app.services.ranking.rank_intervals import rank_view  # loaded when used: it needs scipy

    asked = ranking_choices_of(query)
    check_part(asked)
    view = rank_view(snapshot, asked, by=query.by)
    after = asked.offset + asked.limit
    room = view.ranking.room
    return RankOrderShape(
        by=view.by,
        interval_kind="simultaneous",
        certain_ranks=view.certain_ranks,
        channel=view.ranking.choices.channel,
        aerosol=view.ranking.choices.aerosol,
        room=Named(id=room.id, name=room.name) if room else None,
        total_lines=len(view.lines),
        next_cursor=str(after) if after < len(view.lines) else None,
        lines=[
            RankShape(
                unit_id=one.line.row.unit_id,
                maker=one.line.row.maker,
                model=one.line.row.model,
                setting=Named(id=one.row.key, name=one.line.row.setting or ""),
                place=one.row.place,
                rank_low_95=one.row.rank_low_95,
                rank_high_95=one.row.rank_high_95,
                not_told_apart_from=list(view.ranks.like(one.row.key)),
            )
            for one in view.lines[asked.offset : after]
        ],
        groups=[[one.row.key for one in group] for group in view.groups],
        without_value=[line.row.setting_id for line in view.without_value if line.row.setting_id is not None],
        **of_bench(session),
    )

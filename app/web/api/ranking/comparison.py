"""Comparison of settings: difference, ratio, probability, and the sentences of the page."""

from typing import Annotated

from fastapi import Query
from pydantic import BaseModel, ConfigDict, Field

from app.services.snapshot.choices import RankingChoices
from app.web.api.shapes import LARGEST_ID, IdOrNone, MeasuredShape, OfBench, of_bench, problem_answers
from app.web.api.trials.shapes import Named
from app.web.dependencies import SessionDep, SnapshotDep
from app.web.routers import api_router

router = api_router("ranking")

# quantity of the comparison, its unit
_UNITS = {
    "clean_air_delivery_rate": "m³/h",
    "standard_clearing_time": "1/h",
    "sound": "dB(A)",
    "power": "W",
    "price": "",
    "running_cost": "",
}


class ComparisonQuery(BaseModel):
    """setting_id : two to eight, the first is the baseline; the rest as in the ranking."""

    model_config = ConfigDict(extra="forbid")

    setting_id: list[Annotated[int, Field(ge=1, le=LARGEST_ID)]] = Field(min_length=2, max_length=8)
    channel: str = ""
    aerosol: str = "smoke"
    room_id: IdOrNone = None


class FindingShape(BaseModel):
    """The first setting compared with another in one quantity.

    `told_apart` (significant difference) is null if the two cannot be compared; `words` then says why. `difference` and
    `ratio` are first minus and over the other, with shared errors cancelled; for the time to 95 % reduction they are of
    the decay rates, so the higher one is faster. `unit` is that of the difference. A meaningless or unbounded ratio is
    null. `probability_first_higher` is given these data and no other knowledge.
    """

    quantity: str
    setting_id: int
    words: str
    told_apart: bool | None
    unit: str
    difference: MeasuredShape | None
    ratio: MeasuredShape | None
    probability_first_higher: float | None


class ComparedShape(BaseModel):
    """One setting with its rank interval by clean air delivery rate among those compared; null without a rate."""

    unit_id: int
    maker: str
    model: str
    setting: Named
    place: int | None
    rank_low_95: int | None
    rank_high_95: int | None


class ComparisonShape(OfBench):
    """Settings in the requested order; findings of each other one against the first."""

    channel: str
    aerosol: str
    room: Named | None
    settings: list[ComparedShape]
    findings: list[FindingShape]


@router.get("/comparison", responses=problem_answers(404))
def comparison(
    session: SessionDep, snapshot: SnapshotDep, query: Annotated[ComparisonQuery, Query()]
) -> ComparisonShape:
    """Compares settings tested in one room; shared natural decay and volume cancel."""
    from app.services.ranking.comparison import compare_settings  # loaded when used: it needs scipy

    choices = RankingChoices(channel=query.channel, aerosol=query.aerosol, room_id=query.room_id)
    compared = compare_settings(snapshot, query.setting_id, choices)
    ranks = {row.key: row for row in compared.clean_air_ranks.rows}
    currency = compared.offered.currency
    settings = []
    for one in compared.settings:
        rank, row = ranks.get(one.setting_id), one.line.row
        settings.append(
            ComparedShape(
                unit_id=row.unit_id,
                maker=row.maker,
                model=row.model,
                setting=Named(id=one.setting_id, name=row.setting or ""),
                place=rank.place if rank else None,
                rank_low_95=rank.rank_low_95 if rank else None,
                rank_high_95=rank.rank_high_95 if rank else None,
            )
        )
    findings = []
    for quantity, found in compared.findings.items():
        for other, finding in zip(compared.settings[1:], found, strict=True):
            figures = finding.comparison
            findings.append(
                FindingShape(
                    quantity=quantity,
                    setting_id=other.setting_id,
                    words=finding.words,
                    told_apart=finding.told_apart,
                    unit=_UNITS[quantity] or currency,
                    difference=MeasuredShape.of(figures.difference) if figures else None,
                    ratio=MeasuredShape.of(figures.ratio) if figures and figures.ratio else None,
                    probability_first_higher=figures.probability_first_higher if figures else None,
                )
            )
    return ComparisonShape(
        channel=compared.choices.channel,
        aerosol=compared.choices.aerosol,
        room=Named(id=compared.room.id, name=compared.room.name) if compared.room else None,
        settings=settings,
        findings=findings,
        **of_bench(session),
    )

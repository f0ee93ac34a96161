"""Everything that a draft review is built from: the unit, its trials, and its place on the bench."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.compute.comparison.rank_intervals import RankRow
from app.services.bench.chart_facts import ChartFacts, read_chart_facts
from app.services.ranking.compared_quantities import CLEAN_AIR, PRICE, RUNNING_COST, SOUND, Finding
from app.services.ranking.comparison import compare_settings
from app.services.ranking.rank_intervals import RankView, rank_view
from app.services.ranking.table import RankedSetting
from app.services.reviews.alternatives import alternatives
from app.services.reviews.unit_overview import UnitOverview, trials_of_results, unit_overview
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import HIGHEST, RankingChoices
from app.services.trials.usable import usable_trials
from app.storage.models.trials import NaturalDecayPoolRun, Trial

_SAID_OF_OTHERS = (CLEAN_AIR, SOUND, PRICE, RUNNING_COST)


@dataclass(frozen=True, slots=True)
class PairFact:
    """One quantity of the unit under review and of another one.

    better : "own" or "other", "" for a tie
    words : by how much, such as "costs 40 EUR less; between 22 and 58"
    """

    quantity: str
    better: str
    words: str


@dataclass(frozen=True, slots=True)
class OtherUnit:
    """Another tested unit compared with the one under review.

    stronger, weaker : delivers significantly more, or significantly less, clean air; neither is a tie
    cheaper : has a lower price in the bench's currency
    trial_ids : usable trials of that setting, oldest first
    """

    unit_id: int
    setting_id: int
    name: str
    stronger: bool
    weaker: bool
    cheaper: bool
    facts: tuple[PairFact, ...]
    trial_ids: tuple[int, ...]


@dataclass(frozen=True)
class ReviewFacts:
    """Facts for the rules and the sections.

    highest : the unit at its highest setting; None where it has no setting
    bench : every unit outside the trash at its highest setting, this one among them
    rank : its place by clean air delivery rate with its simultaneous rank interval; None without a rate
    trials_of : setting id to the usable trials of it in this room and channel, oldest first
    runs, empty_rooms : trials of the unit and empty-room runs behind its rates, with room, source and logger
    """

    known: UnitOverview
    highest: RankedSetting | None
    bench: tuple[RankedSetting, ...]
    rank: RankRow | None
    ranked: int
    trials_of: dict[int, tuple[int, ...]]
    runs: Sequence[Trial]
    empty_rooms: Sequence[Trial]
    others: tuple[OtherUnit, ...]
    chart_facts: ChartFacts

    @property
    def name(self) -> str:
        return f"{self.known.unit.maker} {self.known.unit.model}"

    @property
    def currency(self) -> str:
        return self.known.lines.offered.currency

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of all units, and their models alone as comparisons use them; the longest first."""
        rows = [line.row for line in self.bench]
        found = {self.name, *(f"{row.maker} {row.model}" for row in rows), *(row.model for row in rows)}
        return tuple(sorted(found, key=lambda name: (-len(name), name)))

    def trials(self, line: RankedSetting) -> tuple[int, ...]:
        """The trials behind a ranking line."""
        return self.trials_of.get(line.row.setting_id or 0, ())

    @property
    def costs_page(self) -> str:
        """URL of the running cost page with this unit highlighted."""
        return f"/costs?unit={self.known.unit.id}"

    def page(self, part: str = "") -> str:
        """URL of a page of the unit, such as its sound readings."""
        return f"/units/{self.known.unit.id}/{part}" if part else f"/units/{self.known.unit.id}"


def review_facts(session: Session, unit_id: int) -> ReviewFacts:
    """Raises NotFound for an unknown unit. Uses the bench's own conditions: main channel, smoke, main room."""
    known = unit_overview(session, unit_id)
    view = rank_view(current_snapshot(session), replace(known.lines.choices, setting=HIGHEST))
    lines = [line for line in known.lines.lines if line.row.setting_id is not None]
    highest = max(lines, key=lambda line: (line.row.is_highest or 0, line.row.position or 0), default=None)
    own = None if highest is None else next((r for r in view.ranks.rows if r.key == highest.row.setting_id), None)
    trials_of = trials_of_results(session, known)
    return ReviewFacts(
        known=known,
        highest=highest,
        bench=view.ranking.lines,
        rank=own if own is not None and own.place is not None else None,
        ranked=len(view.measured),
        trials_of=trials_of,
        runs=_with_surroundings(session, sorted(one for ids in trials_of.values() for one in ids)),
        empty_rooms=_with_surroundings(session, _empty_room_ids(session, lines)),
        others=_others(session, highest, view, known),
        chart_facts=read_chart_facts(session),
    )


def _empty_room_ids(session: Session, lines: list[RankedSetting]) -> list[int]:
    pools = {line.row.pool_id for line in lines if line.row.pool_id is not None}
    runs = select(NaturalDecayPoolRun.trial_id).where(NaturalDecayPoolRun.pool_id.in_(pools))
    return sorted(set(session.scalars(runs)))


def _with_surroundings(session: Session, trial_ids: list[int]) -> Sequence[Trial]:
    return session.scalars(
        select(Trial)
        .where(Trial.id.in_(trial_ids))
        .order_by(Trial.started_at, Trial.id)
        .options(selectinload(Trial.room), selectinload(Trial.smoke_source), selectinload(Trial.logger))
    ).all()


def _others(
    session: Session, highest: RankedSetting | None, view: RankView, known: UnitOverview
) -> tuple[OtherUnit, ...]:
    """Alternatives that the draft mentions, with the comparison of each pair."""
    chosen = alternatives(view, highest)
    ids = [other.line.row.setting_id for other in chosen if other.line.row.setting_id is not None]
    if not ids or highest is None or highest.row.setting_id is None:
        return ()
    asked = RankingChoices(
        channel=known.lines.choices.channel, aerosol=known.lines.choices.aerosol, room_id=known.lines.choices.room_id
    )
    compared = compare_settings(current_snapshot(session), [highest.row.setting_id, *ids], asked)
    asked = known.lines.choices
    trials = usable_trials(session, ids, asked.channel, asked.room_id, asked.aerosol)
    return tuple(
        OtherUnit(
            unit_id=other.line.row.unit_id,
            setting_id=setting_id,
            name=other.name,
            stronger=other.stronger,
            weaker=other.weaker,
            cheaper=other.cheaper,
            facts=tuple(
                _pair_fact(quantity, finding)
                for quantity in _SAID_OF_OTHERS
                if (finding := compared.findings[quantity][number]).told_apart is not None
            ),
            trial_ids=trials.get(setting_id, ()),
        )
        for number, (other, setting_id) in enumerate(zip(chosen, ids, strict=True))
    )


def _pair_fact(quantity: str, finding: Finding) -> PairFact:
    said = finding.said
    if said is None or said.subject is None:
        return PairFact(quantity, "", "")
    return PairFact(quantity, "own" if said.subject == "first" else "other", said.words)

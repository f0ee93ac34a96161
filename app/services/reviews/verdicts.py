"""The reviewer's verdict on a unit: every version kept with its date and its figures."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload

from app.compute.method import METHOD_VERSION
from app.errors import InvalidValue
from app.services.ranking.rank_intervals import rank_view
from app.services.ranking.rows import read_ranking_table
from app.services.reviews.alternatives import alternatives
from app.services.reviews.figures import (
    OTHER,
    Figure,
    FigureChange,
    changes_between,
    figures_of_other,
    figures_of_units,
)
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import HIGHEST, RankingChoices
from app.services.store.audit import AT_THE_DESK, acting_name, record_change
from app.services.store.checked_values import LONGEST_TEXT, one_of, required_text
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.reviews import Verdict as Verdict
from app.storage.models.reviews import VerdictFigure, VerdictWithdrawal

DRAFT, PUBLISHED = "draft", "published"
STATES = (DRAFT, PUBLISHED)
LONGEST_REASON = 1000


@dataclass(frozen=True, slots=True)
class OutdatedText:
    """A published text whose figures have changed since."""

    unit_id: int
    version: int
    written_at: datetime
    changes: tuple[FigureChange, ...]


def save_verdict(
    session: Session,
    unit_id: int,
    words: str,
    state: str = DRAFT,
    *,
    who: str = AT_THE_DESK,
    now: datetime | None = None,
) -> int:
    """Stores a new version with the current figures, and returns its number.

    The same text may be saved again, which confirms it against the current figures.
    Raises InvalidValue for an empty text or an unknown state, NotFound for an unknown unit.
    """
    get_unit(session, unit_id)
    text = required_text(words, "verdict", "The verdict", LONGEST_TEXT)
    checked_state = one_of(state, STATES, "state", "The state of the verdict")
    before = session.scalar(select(func.max(Verdict.version)).where(Verdict.unit_under_test_id == unit_id)) or 0
    row = Verdict(
        unit_under_test_id=unit_id,
        version=before + 1,
        state=checked_state,
        words=text,
        written_by=acting_name(session, who),
        written_at=now or datetime.now(UTC),
        method_version=METHOD_VERSION,
    )
    session.add(row)
    session.flush()
    own, beside = figures_of_units(session, [unit_id])[unit_id], referenced_figures(session, [unit_id])[unit_id]
    for place, figure in enumerate((*own, *beside)):
        session.add(
            VerdictFigure(
                verdict_id=row.id,
                position=place,
                key=figure.key,
                label=figure.label,
                value=figure.value,
                shown=figure.shown,
            )
        )
    was = f"version {before}" if before else None
    record_change(session, who, "changed" if before else "added", SUBJECT, unit_id, "verdict", was, _named(row), at=now)
    session.flush()
    return row.version


def verdicts_of_unit(session: Session, unit_id: int) -> Sequence[Verdict]:
    """All versions, newest first, with their figures."""
    return session.scalars(
        select(Verdict)
        .where(Verdict.unit_under_test_id == unit_id)
        .order_by(Verdict.version.desc())
        .options(selectinload(Verdict.figures), selectinload(Verdict.withdrawal))
    ).all()


def withdraw_verdict(
    session: Session, unit_id: int, why: str, *, who: str = AT_THE_DESK, now: datetime | None = None
) -> int:
    """Withdraws the published text and returns its version; text and figures stay in the history.

    Raises InvalidValue where no text is published or no reason is given, NotFound for an unknown unit.
    """
    get_unit(session, unit_id)
    reason = required_text(why, "withdraw_why", "The reason for withdrawing the verdict", LONGEST_REASON)
    row = published_verdicts(session, [unit_id]).get(unit_id)
    if row is None or row.withdrawal is not None:
        raise InvalidValue(
            f"Unit {unit_id} has no published verdict to withdraw.",
            field="withdraw_why",
        )
    row.withdrawal = VerdictWithdrawal(
        verdict_id=row.id, withdrawn_by=acting_name(session, who), withdrawn_at=now or datetime.now(UTC), why=reason
    )
    record_change(session, who, "withdrawn", SUBJECT, unit_id, "verdict", _named(row), None, reason, at=now)
    session.flush()
    return row.version


def published_verdicts(session: Session, unit_ids: Collection[int]) -> dict[int, Verdict]:
    """For each unit, the latest published text with its figures; a withdrawn one is marked so."""
    published: dict[int, Verdict] = {}
    for row in session.scalars(
        select(Verdict)
        .where(Verdict.state == PUBLISHED, Verdict.unit_under_test_id.in_(unit_ids))
        .order_by(Verdict.version)
        .options(selectinload(Verdict.figures), selectinload(Verdict.withdrawal))
    ):
        published[row.unit_under_test_id] = row
    return published


def outdated_texts(session: Session, unit_ids: Collection[int]) -> dict[int, OutdatedText]:
    """Published texts with a figure that is shown differently today: of the unit itself, or of another unit that the
    draft mentioned when the text was saved.
    """
    published = {
        unit_id: row for unit_id, row in published_verdicts(session, unit_ids).items() if row.withdrawal is None
    }
    rested_on = {
        unit_id: tuple(Figure(f.key, f.label, f.value, f.shown) for f in row.figures)
        for unit_id, row in published.items()
    }
    own = figures_of_units(session, published.keys())
    beside = referenced_figures(session, published.keys(), {key: others_of(rested_on[key]) for key in published})
    found = {}
    for unit_id, verdict in published.items():
        changes = changes_between(rested_on[unit_id], (*own[unit_id], *beside[unit_id]))
        if changes:
            found[unit_id] = OutdatedText(unit_id, verdict.version, verdict.written_at, changes)
    return found


def _named(row: Verdict) -> str:
    return f"version {row.version}, {row.state}"


NAMED = f"{OTHER}named"


def referenced_figures(
    session: Session, unit_ids: Collection[int], also: Mapping[int, Collection[int]] | None = None
) -> dict[int, tuple[Figure, ...]]:
    """For each unit, the alternatives that its draft mentions now, and their figures; one read for all.

    also : unit id to further units to include, such as those mentioned when a text was saved
    """
    if not unit_ids:
        return {}
    choices = RankingChoices(setting=HIGHEST)
    snapshot = current_snapshot(session)
    table, view = read_ranking_table(snapshot, choices), rank_view(snapshot, choices)
    lines = {line.row.unit_id: line for line in table.lines}
    found = {}
    for unit_id in unit_ids:
        named = alternatives(view, lines.get(unit_id))
        names = sorted(other.name for other in named)
        named_units = Figure(NAMED, "stronger or cheaper units named in the draft", None, "; ".join(names) or "none")
        wanted = dict.fromkeys([*(other.line.row.unit_id for other in named), *(also or {}).get(unit_id, ())])
        figures = [figure for one in wanted if one in lines for figure in figures_of_other(lines[one])]
        found[unit_id] = (named_units, *figures)
    return found


def others_of(figures: Collection[Figure]) -> tuple[int, ...]:
    """Ids of the other units that figures refer to.

    >>> others_of([Figure(key, "", None, "") for key in ("other:named", "other:7:rate", "price")])
    (7,)
    """
    parts = [figure.key.split(":") for figure in figures if figure.key.startswith(OTHER) and figure.key != NAMED]
    return tuple(dict.fromkeys(int(part[1]) for part in parts))

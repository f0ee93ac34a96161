"""The reviewer's verdict on a unit: every version kept with its date and its figures."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload

from app.compute.method import METHOD_VERSION
from app.errors import InvalidValue
from app.services.reviews.figures import Figure, FigureChange, changes_between, figures_of_units
from app.services.reviews.referenced_figures import others_of, referenced_figures
from app.services.store.audit import AT_THE_DESK, acting_name, record_change
from app.services.store.checked_values import LONGEST_TEXT, one_of, required_text
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.reviews import Verdict, VerdictFigure, VerdictWithdrawal

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
    text = required_text(words.replace("\r\n", "\n"), "verdict", "The verdict", LONGEST_TEXT)
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
            f"Unit {unit_id} has no published verdict that could be withdrawn. Publish one first.",
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

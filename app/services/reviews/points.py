"""Edited strengths and weaknesses: every edit is a new version, and the latest one counts."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.reviews.rules import RULES, STRENGTH, WEAKNESS
from app.services.reviews.wording import DraftPoint, Span, first_address, join_spans, link_numbers, plain
from app.services.store.audit import AT_THE_DESK, acting_name, record_change
from app.services.store.checked_values import one_of, optional_text, required_text
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.reviews import ReviewPoint

KINDS = (STRENGTH, WEAKNESS)
KEPT, LEFT_OUT = "kept", "left out"
POINT_STATES = (KEPT, LEFT_OUT)
OWN = "own"
LONGEST_POINT = 1000


@dataclass(frozen=True, slots=True)
class PointEdit:
    """A person's edit of a point; without a key it is the writer's own point.

    evidence : the rule's text when the point was edited
    """

    kind: str
    words: str
    key: str = ""
    state: str = KEPT
    evidence: str = ""


def save_point(session: Session, unit_id: int, edit: PointEdit, *, who: str = AT_THE_DESK, why: str = "") -> str:
    """Stores a new version of a point and returns its key.

    Raises InvalidValue for an invalid kind, state or text, NotFound for an unknown unit.
    """
    get_unit(session, unit_id)
    now = datetime.now(UTC)
    text = required_text(edit.words, "words", "The point", LONGEST_POINT)
    stored = versions_of_points(session, unit_id)
    used = edit.key.strip() or _next_own_key(stored)
    earlier = [row for row in stored if row.key == used]
    if edit.key.strip() and not earlier and used not in RULES:
        raise InvalidValue(
            f"There is no point {used[:40]!r}. Use the name of a rule or of an existing point, or no name to add your "
            "own.",
            field="key",
        )
    row = ReviewPoint(
        unit_under_test_id=unit_id,
        key=optional_text(used, "key", "The name of the point", 100),
        version=earlier[-1].version + 1 if earlier else 1,
        kind=one_of(edit.kind, KINDS, "kind", "The type of the point"),
        state=one_of(edit.state, POINT_STATES, "state", "The state of the point"),
        words=" ".join(text.split()),
        evidence=edit.evidence,
        written_by=acting_name(session, who),
        written_at=now,
        why=optional_text(why, "why", "The reason", LONGEST_POINT),
    )
    session.add(row)
    session.flush()
    before = _shown(earlier[-1]) if earlier else (edit.evidence or None)
    field = f"{row.kind} {row.key}"
    record_change(session, who, "changed", SUBJECT, unit_id, field, before, _shown(row), row.why, at=now)
    return row.key


def versions_of_points(session: Session, unit_id: int) -> Sequence[ReviewPoint]:
    """All versions of all points, in the order in which they were written."""
    return session.scalars(
        select(ReviewPoint).where(ReviewPoint.unit_under_test_id == unit_id).order_by(ReviewPoint.id)
    ).all()


def with_edits(given: Sequence[DraftPoint], versions: Sequence[ReviewPoint]) -> tuple[DraftPoint, ...]:
    """Points from the rules with their latest edits, followed by points that people added.

    An edited point that no rule produces any more stays, marked as without evidence.
    """
    latest = {row.key: row for row in versions}
    found = [_edited(point, latest.pop(point.key, None)) for point in given]
    for row in latest.values():
        own = row.key.startswith(f"{OWN}-")
        point = DraftPoint(
            key=row.key,
            kind=row.kind,
            given=(),
            words=join_spans(row.words),
            threshold="Added by the reviewer." if own else "The rule behind this point no longer applies.",
            position="",
        )
        edited = _edited(point, row)
        found.append(replace(edited, evidence_changed=not own))
    return tuple(found)


def _edited(point: DraftPoint, row: ReviewPoint | None) -> DraftPoint:
    if row is None:
        return point
    words = join_spans(row.words)
    address = first_address(point.given)
    if address:
        words = join_spans(link_numbers(row.words, address), " (", Span("evidence", address), ")")
    if row.words == plain(point.given):
        words = point.given
    return replace(
        point,
        kind=row.kind,
        words=words,
        version=row.version,
        left_out=row.state == LEFT_OUT,
        evidence_changed=bool(row.evidence) and row.evidence != plain(point.given),
    )


def _next_own_key(stored: Sequence[ReviewPoint]) -> str:
    numbers = [int(row.key.removeprefix(f"{OWN}-")) for row in stored if row.key.startswith(f"{OWN}-")]
    return f"{OWN}-{max(numbers, default=0) + 1}"


def _shown(row: ReviewPoint) -> str:
    return row.words if row.state == KEPT else f"{row.words} (excluded)"

"""Edits of strengths and weaknesses: each is kept, the latest counts, and a changed evidence shows."""

from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.reviews.points import PointEdit, save_point, versions_of_points, with_edits
from app.services.reviews.wording import DraftPoint, Span, join_spans
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT
from tests.sample_data.measured_facts import add_unit_with_setting

GIVEN = DraftPoint(
    "loud", "weakness", join_spans("It is loud: ", Span("58 dB(A)", "/units/1/sound")), join_spans("x"), "rule", ""
)


@pytest.fixture
def unit_id(session: Session) -> int:
    return add_unit_with_setting(session, "One")[0]


def test_each_edit_is_a_further_version_and_the_latest_counts(session: Session, unit_id: int):
    for words in ("Rather loud.", "Loud,  as a\nhair dryer is."):
        save_point(session, unit_id, PointEdit(key="loud", kind="weakness", words=words), who="Ada", why="plainer")
    versions = versions_of_points(session, unit_id)
    assert [(row.version, row.words) for row in versions] == [(1, "Rather loud."), (2, "Loud, as a hair dryer is.")]
    (point,) = with_edits([GIVEN], versions)
    assert point.text == "Loud, as a hair dryer is. (evidence)"
    assert point.words[-2] == Span("evidence", "/units/1/sound")
    assert point.version == 2


def test_each_edit_stands_in_the_record_of_changes(session: Session, unit_id: int):
    save_point(
        session,
        unit_id,
        PointEdit(key="loud", kind="weakness", words="Rather loud.", evidence="It is loud."),
        who="Ada",
    )
    save_point(
        session,
        unit_id,
        PointEdit(key="loud", kind="weakness", words="Loud.", state="left out"),
        who="Ada",
        why="minor",
    )
    newest, first, *_ = changes_of(session, SUBJECT, unit_id)
    assert (first.before, first.after) == ("It is loud.", "Rather loud.")
    assert (newest.before, newest.after, newest.why) == ("Rather loud.", "Loud. (excluded)", "minor")
    assert newest.field == "weakness loud"


def test_a_point_left_out_stays_in_the_list_marked(session: Session, unit_id: int):
    save_point(session, unit_id, PointEdit(key="loud", kind="weakness", words="Loud.", state="left out"))
    (point,) = with_edits([GIVEN], versions_of_points(session, unit_id))
    assert point.left_out


def test_evidence_that_changed_since_the_edit_is_told(session: Session, unit_id: int):
    save_point(session, unit_id, PointEdit(key="loud", kind="weakness", words="Loud.", evidence="It is loud: 61 dB(A)"))
    (point,) = with_edits([GIVEN], versions_of_points(session, unit_id))
    assert point.evidence_changed
    save_point(session, unit_id, PointEdit(key="loud", kind="weakness", words="Loud.", evidence="It is loud: 58 dB(A)"))
    (point,) = with_edits([GIVEN], versions_of_points(session, unit_id))
    assert not point.evidence_changed


def test_an_edit_stays_when_its_rule_no_longer_speaks(session: Session, unit_id: int):
    save_point(session, unit_id, PointEdit(key="loud", kind="weakness", words="Loud.", evidence="It is loud: 58 dB(A)"))
    (point,) = with_edits([], versions_of_points(session, unit_id))
    assert point.text == "Loud."
    assert point.evidence_changed
    assert "no longer applies" in point.threshold


def test_points_of_one_s_own_get_names_in_order(session: Session, unit_id: int):
    assert save_point(session, unit_id, PointEdit(kind="strength", words="A long cord.")) == "own-1"
    assert save_point(session, unit_id, PointEdit(kind="weakness", words="A bright lamp.")) == "own-2"
    found = with_edits([], versions_of_points(session, unit_id))
    assert [(point.kind, point.text, point.evidence_changed) for point in found] == [
        ("strength", "A long cord.", False),
        ("weakness", "A bright lamp.", False),
    ]


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"words": "  "}, "The point is empty"),
        ({"words": "x" * 1001}, "The point has 1001 characters; at most 1000 are allowed"),
        ({"kind": "virtue"}, "The type of the point is 'virtue'; choose one of: strength, weakness."),
        ({"state": "gone"}, "The state of the point is 'gone'; choose one of: kept, left out."),
        ({"key": "beauty"}, "There is no point 'beauty'. Use the name of a rule or of an existing point, or no"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(
    session: Session, unit_id: int, changed: dict[str, str], message: str
):
    with pytest.raises(InvalidValue) as refused:
        save_point(session, unit_id, PointEdit(**({"kind": "strength", "words": "Good."} | changed)))
    assert message in refused.value.message
    assert versions_of_points(session, unit_id) == []


def test_an_unknown_unit_is_refused(session: Session):
    refused: Callable[[], str] = lambda: save_point(session, 99, PointEdit(kind="strength", words="Good."))  # noqa: E731
    with pytest.raises(NotFound, match="no unit under test 99"):
        refused()

"""The last change of a unit is undone as a whole, as long as it is recent and nothing was changed since."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.measurements.definitions import NewOzoneTest
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.undo import UNDO_FOR, UNDONE, last_change, undo_last_change
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT, change_unit
from app.storage.models.bench_measurements import OzoneTest
from tests.conftest import SmallBench

TEST = NewOzoneTest(ozone_ppb=3.0, tested_on=datetime(2026, 2, 3, tzinfo=UTC).date())


def test_a_change_can_be_undone_for_ten_minutes_until_the_next(session: Session, small_bench: SmallBench):
    unit = small_bench.unit_id
    add_ozone_test(session, unit, TEST)
    session.commit()
    first = last_change(session, unit)
    assert first is not None
    assert last_change(session, unit, now=first.until + timedelta(seconds=1)) is None
    assert timedelta(minutes=10) == UNDO_FOR
    session.commit()
    change_unit(session, unit, {"mass_kg": 4.5, "bought_from": "an invented shop"})
    session.commit()
    with pytest.raises(InvalidValue, match="The unit was changed again, or ten minutes have passed"):
        undo_last_change(session, unit, first.id)
    second = last_change(session, unit)
    assert second is not None
    assert {entry.field for entry in second.entries} == {"mass_kg", "bought_from"}  # one request, one undo


def test_what_was_undone_is_recorded_and_not_undone_again(session: Session, small_bench: SmallBench):
    unit = small_bench.unit_id
    add_ozone_test(session, unit, TEST)
    session.commit()
    last = last_change(session, unit)
    assert last is not None
    undo_last_change(session, unit, last.id, who="Ann")
    session.commit()
    assert session.query(OzoneTest).count() == 0
    newest = changes_of(session, SUBJECT, unit)[0]
    assert (newest.action, newest.field, newest.why, newest.who) == ("taken back", "ozone", UNDONE, "Ann")
    assert "ozone [ppb]: 3" in (newest.before or "")
    assert last_change(session, unit) is None


def test_what_fills_a_bench_at_once_is_not_offered(session: Session, small_bench: SmallBench):
    """A bulk table or an invented bench: more than any form adds."""
    for place in range(9):
        add_ozone_test(session, small_bench.unit_id, replace(TEST, ozone_ppb=float(place)))
    session.commit()
    assert last_change(session, small_bench.unit_id) is None

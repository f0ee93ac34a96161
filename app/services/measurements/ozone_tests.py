"""Recorded ozone tests of a unit, compared with public limits; without one it is "not measured"."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.clean_air.ozone import OzoneFinding, ozone_finding
from app.errors import NotFound
from app.services.measurements.definitions import NewOzoneTest
from app.services.measurements.delete_entry import delete_entry
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import checked_entry
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.bench_measurements import OzoneTest


@dataclass(frozen=True, slots=True)
class UnitOzone:
    """The tests of a unit, newest first, and the result of the highest."""

    tests: Sequence[OzoneTest]
    finding: OzoneFinding


def add_ozone_test(session: Session, unit_id: int, new: NewOzoneTest, *, who: str = AT_THE_DESK) -> int:
    """Adds a test and returns its id."""
    get_unit(session, unit_id)
    row = OzoneTest(unit_under_test_id=unit_id, **checked_entry(new))
    session.add(row)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "ozone", None, _words(row))
    return row.id


def delete_ozone_test(session: Session, test_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Deletes a test; the record of changes keeps its content."""
    row = session.get(OzoneTest, test_id)
    if row is None:
        raise NotFound("ozone test", test_id)
    delete_entry(session, row, "ozone", _words(row), who=who, why=why)


def ozone_of_unit(session: Session, unit_id: int) -> UnitOzone:
    """The tests of a unit; the highest value decides, and a value takes precedence over a "less than"."""
    unit = get_unit(session, unit_id)
    tests = session.scalars(
        select(OzoneTest).where(OzoneTest.unit_under_test_id == unit_id).order_by(OzoneTest.tested_on.desc())
    ).all()
    highest = max(tests, key=lambda test: (not test.below_detection, test.ozone_ppb), default=None)
    finding = ozone_finding(
        unit.makes_ozone,
        None if highest is None else highest.ozone_ppb,
        below_detection=highest is not None and highest.below_detection,
    )
    return UnitOzone(tests, finding)


def _words(row: OzoneTest) -> str:
    return f"{'less than ' if row.below_detection else ''}{row.ozone_ppb:g} ppb on {row.tested_on.isoformat()}"

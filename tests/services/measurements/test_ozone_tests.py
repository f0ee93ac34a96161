import pytest

from app.errors import InvalidValue, NotFound
from app.services.measurements.definitions import NewOzoneTest
from app.services.measurements.ozone_tests import add_ozone_test, delete_ozone_test, ozone_of_unit
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT
from tests.sample_data.measured_facts import DAY, add_unit_with_setting


def test_without_a_test_it_is_not_measured(session):
    unit_id, _ = add_unit_with_setting(session, "Ioniser", makes_ozone=True)
    found = ozone_of_unit(session, unit_id)
    assert found.tests == []
    assert found.finding.sentence == "Ozone: not measured. The unit uses a technology that can produce it."


def test_the_highest_value_decides_and_goes_before_a_less_than(session, small_bench):
    add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=20.0, tested_on=DAY, below_detection=True))
    add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=4.0, tested_on=DAY, source="laboratory report"))
    assert ozone_of_unit(session, small_bench.unit_id).finding.ozone_ppb == 4.0
    add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=62.0, tested_on=DAY))
    found = ozone_of_unit(session, small_bench.unit_id)
    assert found.finding.ozone_ppb == 62.0
    assert found.finding.caution


def test_taking_back_keeps_the_record(session, small_bench):
    entry = add_ozone_test(
        session, small_bench.unit_id, NewOzoneTest(ozone_ppb=3.0, tested_on=DAY, below_detection=True)
    )
    delete_ozone_test(session, entry, why="another unit")
    assert changes_of(session, SUBJECT, small_bench.unit_id)[0].before == (
        "less than 3 ppb on 2026-02-03\nozone [ppb]: 3; below detection: yes; tested on: 2026-02-03"
    )
    with pytest.raises(NotFound, match="There is no ozone test"):
        delete_ozone_test(session, entry, why="again")


def test_a_value_below_zero_and_a_missing_day_are_refused(session, small_bench):
    with pytest.raises(InvalidValue, match="The ozone is -1 ppb; it must be zero or above"):
        add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=-1.0, tested_on=DAY))
    with pytest.raises(InvalidValue, match="The ozone test has no date"):
        add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=1.0, tested_on=None))

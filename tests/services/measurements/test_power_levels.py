from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import select

from app.errors import InvalidValue, NotFound, UnreadableLog
from app.reading_files.log_table import ReadingChoices
from app.services.measurements.definitions import NewPowerMeasurement
from app.services.measurements.power_levels import (
    add_power_log,
    add_power_measurement,
    delete_power_measurement,
    power_levels_of_unit,
)
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT
from app.storage.models.bench_measurements import PowerMeasurement
from app.storage.models.logs import RawFile
from tests.sample_data.measured_facts import DAY, add_power

START = datetime(2026, 2, 3, 9, 0, tzinfo=UTC)


def power_log(watts, interval_s=10):
    lines = [f"{(START + timedelta(seconds=i * interval_s)).isoformat()},{w}" for i, w in enumerate(watts)]
    return ("time,Power (W)\n" + "\n".join(lines) + "\n").encode()


def test_repeats_are_averaged_and_standby_stands_last(session, small_bench):
    for watts in (50.0, 52.0):
        add_power(session, small_bench.unit_id, small_bench.high_setting_id, watts, 0.5)
    add_power(session, small_bench.unit_id, None, 0.4, 0.1)
    low, high, standby = power_levels_of_unit(session, small_bench.unit_id)
    assert (low.power, low.name) == (None, "low")
    assert high.power.value == 51.0
    assert high.power.uncertainty == pytest.approx((1.0**2 + 0.5**2 + 1.0**2 / 12) ** 0.5)  # a display of whole watts
    assert (standby.name, standby.power.value) == ("standby", 0.4)


def test_a_power_log_becomes_its_mean_over_time_and_is_kept(session, small_bench):
    content = power_log([40.0, 41.0, 39.0, 40.0] * 30)
    entry, found = add_power_log(
        session,
        small_bench.unit_id,
        small_bench.high_setting_id,
        content,
        "meter.csv",
        meter=NewPowerMeasurement(uncertainty_w=0.4, instrument="plug meter"),
    )
    row = session.get(PowerMeasurement, entry)
    assert row.power_w == pytest.approx(found.mean_power.value) == pytest.approx(40.0, abs=0.05)
    assert row.measured_on == date(2026, 2, 3)
    assert row.log_id is not None
    assert session.scalars(select(RawFile)).one().content == content


def test_cautions_of_a_log_are_kept_as_notes(session, small_bench):
    entry, _ = add_power_log(session, small_bench.unit_id, None, power_log([0.0, 1.0, 1.0, 0.0] * 30), "standby.csv")
    notes = session.get(PowerMeasurement, entry).notes
    assert "not specified below 5 W" in notes
    assert "1 W apart" in notes


def test_columns_can_be_named_where_the_header_does_not_tell(session, small_bench):
    content = power_log([40.0, 41.0] * 30).replace(b"Power (W)", b"mystery")
    choices = ReadingChoices(columns={"mystery": "power"}, units={"mystery": "W"})
    _, found = add_power_log(session, small_bench.unit_id, None, content, "meter.csv", choices=choices)
    assert found.mean_power.value == pytest.approx(40.5, abs=0.01)


def test_a_log_without_power_is_refused_and_nothing_stored(session, small_bench, make_log):
    with pytest.raises(InvalidValue, match=r"smoke.csv holds the channels pm1, pm2_5, pm10; a power column in W"):
        add_power_log(session, small_bench.unit_id, None, make_log(), "smoke.csv")
    assert session.scalars(select(RawFile)).all() == []


def test_a_log_below_zero_names_the_file(session, small_bench):
    with pytest.raises(InvalidValue, match=r"meter.csv: The power log holds -2 W; a power must be zero or above"):
        add_power_log(session, small_bench.unit_id, None, power_log([-2.0, 1.0, 3.0, 2.0]), "meter.csv")


def test_what_is_no_log_is_refused(session, small_bench):
    with pytest.raises(UnreadableLog):
        add_power_log(session, small_bench.unit_id, None, b"hello\n", "letter.txt")


def test_taking_back_keeps_the_record(session, small_bench):
    entry = add_power(session, small_bench.unit_id, None, 0.4, 0.1)
    delete_power_measurement(session, entry, why="meter was off")
    taken, added = changes_of(session, SUBJECT, small_bench.unit_id)
    assert added.after == "standby, 0.4 W ± 0.1 W, on 2026-02-03"
    assert taken.before == (
        "standby, 0.4 W ± 0.1 W, on 2026-02-03\npower [W]: 0.4; uncertainty [W]: 0.1; measured on: 2026-02-03"
    )
    with pytest.raises(NotFound, match=f"There is no power measurement {entry}"):
        delete_power_measurement(session, entry, why="again")


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"power_w": None}, "The power is missing. Enter a number in W"),
        ({"power_w": -1.0}, "The power is -1 W; it must be zero or above"),
        ({"uncertainty_w": -0.1}, "The meter's uncertainty is -0.1 W; it must be zero or above"),
        ({"measured_on": None}, "The power has no date"),
    ],
)
def test_impossible_entries_are_refused(session, small_bench, fields, message):
    new = NewPowerMeasurement(**({"power_w": 40.0, "measured_on": DAY} | fields))
    with pytest.raises(InvalidValue, match=message):
        add_power_measurement(session, small_bench.unit_id, None, new)


def test_repeats_that_disagree_are_as_uncertain_in_the_ranking_as_on_the_units_page(session, small_bench):
    """JCGM 100:2008, 4.2.3: s of 26.6 and 50.3 W is 16.76, of their mean 11.85; with 0.2 W of the meter 11.85 W."""
    ids = small_bench
    for watts in (26.6, 50.3):
        add_power(session, ids.unit_id, ids.high_setting_id, watts, uncertainty_w=0.2)
    add_power(session, ids.unit_id, None, 0.5, uncertainty_w=0.05)
    powers = {p.setting.id: p.power for p in power_levels_of_unit(session, ids.unit_id) if p.setting}
    own = powers[ids.high_setting_id]
    row = next(
        line.row for line in rank_units(current_snapshot(session)).lines if line.row.setting_id == ids.high_setting_id
    )
    assert own.uncertainty == pytest.approx(11.85, abs=0.005)
    assert (row.power_w, row.power_uncertainty_w) == (pytest.approx(38.45), pytest.approx(own.uncertainty))
    assert (row.standby_power_w, row.standby_power_uncertainty_w) == (0.5, pytest.approx((0.05**2 + 0.01 / 12) ** 0.5))


@pytest.mark.parametrize("stated", [0.0, 0.4])
@pytest.mark.parametrize("readings", [(11.5,), (40.0,), (0.0,), (5.0, 5.2), (40.0, 41.25), (12.0, 13.0)])
def test_the_ranking_counts_meter_and_display_as_the_units_page_does(session, small_bench, readings, stated):
    for watts in readings:
        add_power(session, small_bench.unit_id, small_bench.high_setting_id, watts, uncertainty_w=stated)
    own = next(p.power for p in power_levels_of_unit(session, small_bench.unit_id) if p.power is not None)
    lines = rank_units(current_snapshot(session)).lines
    row = next(line.row for line in lines if line.row.setting_id == small_bench.high_setting_id)
    assert row.power_uncertainty_w == pytest.approx(own.uncertainty)
    assert row.power_uncertainty_w > 0

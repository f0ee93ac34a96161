"""Settings side by side: what they share cancels, and each quantity that cannot be compared says why."""

import math

import pytest
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.errors import InvalidValue, NotFound
from app.services.measurements.comparable_sound import SET_UP_DB, read_comparable_sound
from app.services.ranking.compared_quantities import QUANTITIES
from app.services.ranking.comparison import compare_settings, highest_settings
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import RankingChoices
from app.services.snapshot.settings_in_rooms import read_tested_settings
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest
from tests.sample_data.compared_bench import ComparedBench, add_summary, fill
from tests.sample_data.measured_facts import NOW
from tests.web.tried_bench import fill as fill_tried


@pytest.fixture
def bench(session: Session) -> ComparedBench:
    return fill(session)


def words(compared, number=0):
    return {quantity: compared.findings[quantity][number].words for quantity in QUANTITIES}


def test_intervals_overlap_and_yet_the_difference_is_told_apart(session: Session, bench: ComparedBench):
    """Shared natural decay and volume: each rate is uncertain by 8 m³/h, their difference by 3.4."""
    compared = compare_settings(current_snapshot(session), bench.ids("Alder", "Birch"))
    first, second = compared.settings
    assert first.clean_air is not None
    assert second.clean_air is not None
    assert first.clean_air.low_95 < second.clean_air.high_95
    finding = compared.findings["clean_air_delivery_rate"][0]
    assert finding.told_apart
    assert finding.comparison is not None
    assert finding.comparison.difference.value == pytest.approx(15.0)
    assert finding.comparison.difference.uncertainty == pytest.approx(
        math.hypot(30 * 0.08 * math.sqrt(2), 0.5 * 1.0), rel=1e-9
    )
    assert finding.words.startswith("Alder delivers 1.10 times as much clean air as Birch; between 1.0")


def test_every_quantity_is_said_in_words(session: Session, bench: ComparedBench):
    said = words(compare_settings(current_snapshot(session), bench.ids("Birch", "Alder")))
    assert said["standard_clearing_time"].startswith("Alder clears 1.09 times faster than Birch; between 1.0")
    assert said["sound"] == "Birch is 2.0\u00a0dB quieter than Alder; between 0.6 and 3.4."
    assert said["power"].startswith("Birch draws 20.0\u00a0W less than Alder; between 19.0 and 21.0")
    assert said["price"] == "Birch costs 50\u00a0USD less than Alder."
    assert "nly a lower bound of the running cost" in said["running_cost"]


def test_what_cannot_be_told_apart_is_said_with_the_quantity(session: Session, bench: ComparedBench):
    said = words(compare_settings(current_snapshot(session), bench.ids("Birch", "Cedar")))
    assert said["clean_air_delivery_rate"] == "By clean air, Birch and Cedar cannot be told apart."
    assert said["power"] == "By power, Birch and Cedar cannot be told apart."
    assert said["price"] == "Birch and Cedar cost the same."


def test_one_meter_cancels_and_two_do_not(session: Session, bench: ComparedBench):
    """Same levels: with one meter the uncertainty is that of setting up, with two each meter's limit counts."""
    sounds = read_comparable_sound(
        session, bench.ids("Alder", "Birch", "Cedar"), standard_distance_m=1.0, rule="ISO 3746"
    )
    one_meter = compare_settings(current_snapshot(session), bench.ids("Alder", "Birch")).of_pair("sound")
    two_meters = compare_settings(current_snapshot(session), bench.ids("Alder", "Cedar")).of_pair("sound")
    assert one_meter is not None
    assert two_meters is not None
    assert one_meter.difference.uncertainty == pytest.approx(SET_UP_DB * math.sqrt(2))
    level = sounds[bench.settings["Alder"]].level.level_dba
    assert two_meters.difference.uncertainty == pytest.approx(level.uncertainty * math.sqrt(2))
    assert one_meter.told_apart
    assert not two_meters.told_apart


def test_a_unit_that_does_nothing_gives_a_lower_limit_or_nothing(session: Session, bench: ComparedBench):
    said = words(compare_settings(current_snapshot(session), bench.ids("Alder", "Dud")))
    assert said["clean_air_delivery_rate"].startswith("Alder delivers at least ")
    assert said["sound"] == "Only an upper bound of the sound level of Dud is known."
    assert said["power"] == "The power of Dud was not measured."
    assert said["price"] == "Dud has no price in USD."


def test_what_was_never_tried_says_so(session: Session, bench: ComparedBench):
    compared = compare_settings(current_snapshot(session), bench.ids("Alder", "Elm"))
    said = words(compared)
    assert said["clean_air_delivery_rate"] == "Elm has no clean air rate here."
    assert said["standard_clearing_time"] == "Elm has no decay rate here."
    assert said["sound"] == "The sound level of Elm was not measured."
    assert all(found[0].told_apart is None for quantity, found in compared.findings.items() if quantity != "price")
    assert compared.settings[1].clean_air is None


def test_two_that_do_nothing_are_not_compared_by_their_noise(session: Session, bench: ComparedBench):
    idle = SpeedSetting(unit_under_test_id=bench.units["Dud"], name="off", position=0, is_highest=False)
    session.add(idle)
    session.flush()
    tested = read_tested_settings(current_snapshot(session), channel="pm2_5", aerosol="smoke", room_id=bench.room_id)
    pool_id = tested[bench.settings["Dud"]].in_room.pool_id
    add_summary(session, bench.units["Dud"], idle.id, bench.room_id, pool_id, Measured(0.75, 0.08))
    found = compare_settings(current_snapshot(session), (bench.settings["Dud"], idle.id)).findings[
        "clean_air_delivery_rate"
    ][0]
    assert found.words == "Neither can be told apart from an empty room."
    assert found.told_apart is False


def test_three_are_ranked_with_what_cannot_be_told_apart(session: Session, bench: ComparedBench):
    compared = compare_settings(current_snapshot(session), bench.ids("Cedar", "Alder", "Birch", "Dud"))
    assert [row.key for row in compared.clean_air_ranks.rows] == list(bench.ids("Alder", "Birch", "Cedar", "Dud"))
    assert compared.clean_air_ranks.rows[-1].place is None
    assert compared.clean_air_ranks.groups == (bench.ids("Birch", "Cedar"),)
    assert compared.of_pair("power") is None


def test_a_unit_stands_for_its_highest_setting(session: Session, bench: ComparedBench):
    session.add(SpeedSetting(unit_under_test_id=bench.units["Alder"], name="low", position=0, is_highest=False))
    session.flush()
    asked = [bench.units["Birch"], bench.units["Alder"]]
    assert highest_settings(session, asked) == bench.ids("Birch", "Alder")


def test_names_tell_the_settings_of_one_unit_apart(session: Session, bench: ComparedBench):
    low = SpeedSetting(unit_under_test_id=bench.units["Alder"], name="low", position=0, is_highest=False)
    session.add(low)
    session.flush()
    compared = compare_settings(current_snapshot(session), (*bench.ids("Alder", "Birch"), low.id))
    assert [setting.name for setting in compared.settings] == ["Alder, high", "Birch", "Alder, low"]


def test_the_runs_behind_a_pool_come_along(session: Session):
    """Real trials: both pools of the tried bench rest on its two empty-room runs."""
    fill_tried(session)
    tested = read_tested_settings(current_snapshot(session), channel="pm2_5", aerosol="smoke", room_id=1)
    assert len(tested) == 2
    for setting in tested.values():
        assert setting.in_room is not None
        assert [run for run, _ in setting.in_room.pool_runs] == [1, 2]
        assert sum(weight for _, weight in setting.in_room.pool_runs) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("chosen", "message"),
    [
        (("Alder",), "1 settings were selected; a comparison takes 2 to 8. Add one."),
        (("Alder",) * 9, "9 settings were selected; a comparison takes 2 to 8. Remove some."),
        (("Alder", "Birch", "Alder"), "was selected twice. Remove one."),
    ],
)
def test_a_choice_that_is_no_comparison_is_refused(
    session: Session, bench: ComparedBench, chosen: tuple[str, ...], message: str
):
    with pytest.raises(InvalidValue) as refused:
        compare_settings(current_snapshot(session), bench.ids(*chosen))
    assert refused.value.message.endswith(message)
    assert refused.value.field == "setting_id"


def test_a_setting_that_is_not_there_is_refused(session: Session, bench: ComparedBench):
    with pytest.raises(NotFound) as refused:
        compare_settings(current_snapshot(session), (*bench.ids("Alder"), 999))
    assert refused.value.message == "There is no speed setting 999 in this bench. Choose one from the list."


def test_a_unit_without_a_setting_is_refused(session: Session, bench: ComparedBench):
    with pytest.raises(NotFound) as refused:
        highest_settings(session, [bench.units["Alder"], 999])
    assert "unit with a speed setting under the number 999" in refused.value.message


def test_a_unit_in_the_trash_is_not_compared(session: Session, bench: ComparedBench):
    session.get_one(UnitUnderTest, bench.units["Birch"]).trashed_at = NOW
    session.flush()
    with pytest.raises(NotFound, match="no speed setting"):
        compare_settings(current_snapshot(session), bench.ids("Alder", "Birch"))


def test_a_room_that_is_not_there_is_refused(session: Session, bench: ComparedBench):
    with pytest.raises(InvalidValue, match="There is no test room 77"):
        compare_settings(current_snapshot(session), bench.ids("Alder", "Birch"), RankingChoices(room_id=77))

"""State of a live run from what is stored: advice, clocks, and how often the fit is made."""

import math
from datetime import datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.adding_trials.live_runs.events import UNIT_ON, add_event
from app.services.adding_trials.live_runs.fits import REFIT_AFTER
from app.services.adding_trials.live_runs.receive import Reading, receive_readings
from app.services.adding_trials.live_runs.run import start_run
from app.services.adding_trials.live_runs.state import LiveState, live_state
from tests.conftest import NOW, SmallBench, decay_log
from tests.services.adding_trials.live_runs.test_finish import conditions, readings_of


def messages(state: LiveState) -> dict[str, str]:
    return {each.code: each.message for each in state.advice}


@pytest.fixture
def lot() -> list[Reading]:
    """From NOW on: 10 min of background, 5 min of smoke, and an hour of decay at 6 per hour, one reading in 10 s."""
    return readings_of(decay_log(6.0, minutes=60))


def sent(session: Session, bench: SmallBench, lot: list[Reading], late_s: float = 2.0) -> tuple[int, datetime]:
    """A run that got the readings in time; its id, and when the last one arrived."""
    run_id = start_run(session, conditions(bench), now=NOW).run_id
    arrived = lot[-1].time + timedelta(seconds=late_s)
    receive_readings(session, run_id, lot, now=arrived)
    return run_id, arrived


def test_a_silent_logger_is_named_with_its_silence(session: Session, small_bench: SmallBench, lot: list[Reading]):
    run_id, arrived = sent(session, small_bench, lot)
    assert "logger_silent" not in messages(live_state(session, run_id, arrived + timedelta(seconds=30)))
    found = messages(live_state(session, run_id, arrived + timedelta(seconds=40)))
    assert found["logger_silent"].startswith("Logger silent for 40 s; it usually sends one every 10 s.")


def test_the_fit_is_made_again_after_some_seconds_or_an_event(
    session: Session, small_bench: SmallBench, lot: list[Reading], work_counted: dict[str, int]
):
    run_id, arrived = sent(session, small_bench, lot[:-6])
    work_counted["analyses"] = 0

    def analyses_at(at: datetime) -> int:
        live_state(session, run_id, at)
        return work_counted["analyses"]

    assert [analyses_at(arrived), analyses_at(arrived + timedelta(hours=1))] == [1, 1]  # nothing new
    receive_readings(session, run_id, lot[-6:-3], now=arrived + timedelta(seconds=1))
    assert analyses_at(arrived + REFIT_AFTER - timedelta(seconds=1)) == 1
    assert analyses_at(arrived + REFIT_AFTER) == 2
    receive_readings(session, run_id, lot[-3:], now=arrived + REFIT_AFTER)
    add_event(session, run_id, UNIT_ON, at=NOW + timedelta(minutes=15), now=arrived + REFIT_AFTER)
    assert analyses_at(arrived + REFIT_AFTER) == 3  # a mark is seen at once


def test_the_time_to_clear_is_the_curves_own_crossing(session: Session, small_bench: SmallBench, lot: list[Reading]):
    """300 µg/m³ over 4 at 6 per hour reach 10 µg/m³ after ln(296 / 6) / 6 h = 39 min; after 20 min 19 are left."""
    run_id, arrived = sent(session, small_bench, lot[: 6 * 35 + 1])
    add_event(session, run_id, UNIT_ON, at=NOW + timedelta(minutes=15), now=arrived)
    state = live_state(session, run_id, arrived)
    assert state.clears_in_min is not None
    assert state.clears_in_min.value == pytest.approx(60 * math.log(296 / 6) / 6 - 20, abs=3 * 1.5)
    assert not state.is_clear
    receive_readings(session, run_id, lot, now=arrived + timedelta(hours=1))
    later = live_state(session, run_id, arrived + timedelta(hours=1))
    assert (later.clears_in_min, later.is_clear) == (None, True)
    assert "; clear level of 10 µg/m³ reached." in later.summary


def test_humidity_that_rises_is_named(session: Session, small_bench: SmallBench, lot: list[Reading]):
    rising = [Reading(each.time, {**each.levels, "relative_humidity": 40.0 + n / 30}) for n, each in enumerate(lot)]
    run_id, arrived = sent(session, small_bench, rising)
    add_event(session, run_id, UNIT_ON, at=NOW + timedelta(minutes=15), now=arrived)
    found = messages(live_state(session, run_id, arrived))
    assert found["humidity_rising"].startswith("Humidity rising: from 44 to 54 % since the decay began.")


def test_a_late_reading_is_no_wrong_clock(session: Session, small_bench: SmallBench, lot: list[Reading]):
    """A minute late is how a logger with one reading a minute looks; an hour is a clock."""
    late, _ = sent(session, small_bench, lot, late_s=60.0)
    arrived = lot[-1].time + timedelta(seconds=60)
    state = live_state(session, late, arrived)
    assert state.logger_correction_s == 0.0
    assert state.clock_words == "The logger's clock agrees with the bench's clock."
    add_event(session, late, UNIT_ON, at=NOW + timedelta(minutes=15), now=arrived)
    assert live_state(session, late, arrived).on_min == pytest.approx(60.0, abs=0.01)


def test_a_clock_ahead_moves_the_marks(session: Session, small_bench: SmallBench, lot: list[Reading]):
    run_id = start_run(session, conditions(small_bench), now=NOW).run_id
    arrived = lot[-1].time - timedelta(minutes=20)
    receive_readings(session, run_id, lot, now=arrived)
    add_event(session, run_id, UNIT_ON, at=arrived - timedelta(minutes=60), now=arrived)
    state = live_state(session, run_id, arrived)
    assert state.clock_words.startswith("The logger's clock is 20.0\u00a0min ahead of the bench's clock;")
    assert state.on_min == pytest.approx(60.0, abs=0.01)


def test_an_event_of_another_day_is_refused(session: Session, small_bench: SmallBench):
    run_id = start_run(session, conditions(small_bench), now=NOW).run_id
    with pytest.raises(InvalidValue, match=r"^The event is at 2026-02-27 09:00:00 UTC, but the bench's clock shows 20"):
        add_event(session, run_id, UNIT_ON, at=NOW - timedelta(days=3), now=NOW)

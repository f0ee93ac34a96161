"""Warnings before a run is stored."""

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.services.logs.trial_fields import NewTrial
from app.services.results.control_charts.upload_warnings import upload_warnings
from tests.conftest import SmallBench
from tests.sample_data.control_bench import FIRST, add_runs, shifted, steady


def warnings(
    session: Session,
    bench: SmallBench,
    rate: float,
    kind: str = "empty room",
    *,
    room_id: int | None = None,
    rates: dict[str, Measured] | None = None,
) -> tuple[str, ...]:
    run = NewTrial(kind=kind, room_id=bench.room_id if room_id is None else room_id, smoke_source_id=1)
    if rates is None:
        rates = {"pm1": Measured(9.0, 0.01), "pm2_5": Measured(rate, 0.01)}
    return upload_warnings(session, run, FIRST + timedelta(weeks=200), rates)


def test_an_empty_room_run_within_the_limits_is_silent(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(24))
    assert warnings(session, small_bench, 0.5) == ()


def test_one_outside_the_limits_is_named_with_what_to_do(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(24))
    [words] = warnings(session, small_bench, 0.8)
    assert words.startswith(
        "This empty-room run is outside the control chart of the room: 0.800 ± 0.010 per hour is above"
    )
    assert "Check door, window, seals and fans" in words


def test_one_that_shows_a_shift_says_that_it_did(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, shifted(after=10)[:27])
    found = warnings(session, small_bench, 0.64)
    assert any("found with this run on" in words for words in found)


@pytest.mark.parametrize("kind", ["empty room", "unit running"])
def test_any_run_in_a_shifted_room_is_warned(session: Session, small_bench: SmallBench, kind: str):
    add_runs(session, small_bench.room_id, shifted())
    found = warnings(session, small_bench, 0.62, kind)
    assert any(words.startswith("The natural decay shifted: since about") for words in found)
    assert any(words.endswith("see the control chart of the room.") for words in found)


@pytest.mark.parametrize("number", [0, 1, 2, 15])
def test_a_room_without_limits_has_no_warning(session: Session, small_bench: SmallBench, number: int):
    add_runs(session, small_bench.room_id, steady(number))
    assert warnings(session, small_bench, 5.0) == ()


def test_another_aerosol_is_not_compared(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(24), aerosol="dust")
    assert warnings(session, small_bench, 5.0) == ()


def test_a_room_that_is_not_on_the_bench_has_no_warning(session: Session, small_bench: SmallBench):
    assert warnings(session, small_bench, 5.0, room_id=0) == ()
    assert warnings(session, small_bench, 5.0, rates={}) == ()


def test_a_rate_without_uncertainty_is_not_compared(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(24))
    assert warnings(session, small_bench, 5.0, rates={"pm2_5": Measured(5.0, 0.0)}) == ()

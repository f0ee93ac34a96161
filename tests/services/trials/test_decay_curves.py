"""Curves of real analyses laid over one another: counted from unit on, thinned, fitted, with what was left out."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.compute.decay.analysis import decay_curve
from app.errors import InvalidValue, NotFound
from app.figures.charts.decay_overlay import overlay_text
from app.services.adding_trials.add import add_trial
from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.logs.trial_fields import NewTrial
from app.services.results.rows import stored_channel_decay
from app.services.results.trial_results import analyse_stored_trial, get_trial
from app.services.snapshot.evenly_spread import spread_over
from app.services.trials.decay_curves import CurveChoices, decay_overlay, trial_curve
from app.services.trials.usable import latest_usable_trials, usable_trials
from app.storage.models.trials import ChannelResult, Trial
from tests.conftest import NOW, SmallBench, decay_log
from tests.sample_data.control_bench import FIRST, add_runs


@pytest.fixture
def trials(session: Session, small_bench: SmallBench) -> dict[str, int]:
    """An empty-room run at 0.6 per hour, the high setting at 6 and the low one at 2; the latter ends too early."""

    def add(name: str, rate: float, minutes: float, seed: int, setting_id: int | None) -> int:
        unit = small_bench.unit_id if setting_id else None
        run = NewTrial(
            kind="unit running" if setting_id else "empty room",
            room_id=small_bench.room_id,
            unit_under_test_id=unit,
            setting_id=setting_id,
            smoke_source_id=small_bench.smoke_source_id,
        )
        return add_trial(session, decay_log(rate, minutes=minutes, seed=seed), f"{name}.csv", run, now=NOW)

    return {
        "empty": add("empty", 0.6, 120, 1, None),
        "high": add("high", 6.0, 60, 2, small_bench.high_setting_id),
        "low": add("low", 2.0, 60, 3, small_bench.low_setting_id),
    }


def test_a_plain_overlay_shows_the_highest_setting_and_the_empty_room(session: Session, trials: dict[str, int]):
    overlay = decay_overlay(session)
    assert [curve.trial_id for curve in overlay.curves] == [trials["high"]]
    assert overlay.empty_room is not None
    assert overlay.empty_room.trial_id == trials["empty"]
    assert (overlay.unit, overlay.spread_of, overlay.left_out) == ("µg/m³", 1, ())


def test_a_curve_is_counted_from_unit_on_and_fits_the_decay_that_was_put_in(session: Session, trials: dict[str, int]):
    """The log falls as 4 + 296 exp(-6 t) from its peak on."""
    curve = decay_overlay(session).curves[0]
    assert curve.minutes[0] >= 0
    assert max(curve.minutes) == pytest.approx(60, abs=1)
    minutes, levels = np.array(curve.fit_minutes), np.array(curve.fit_levels)
    assert np.allclose(levels, 4 + 296 * np.exp(-6 * minutes / 60), rtol=0.06)
    assert all(low <= level <= high for low, level, high in zip(curve.fit_low, levels, curve.fit_high, strict=True))
    assert curve.cleared
    # level 10 is reached after ln(296/6)/6 hours
    assert curve.time_to_clear_min == pytest.approx(60 * np.log(296 / 6) / 6, rel=0.06)


def test_a_run_that_ended_too_early_is_censored(session: Session, trials: dict[str, int]):
    curve = decay_overlay(session, CurveChoices(trial_ids=(trials["low"],))).curves[0]
    assert not curve.cleared
    assert curve.time_to_clear_min is None
    assert curve.not_cleared_before_min == pytest.approx(60, abs=1)


def test_readings_are_thinned_and_the_peak_is_kept(session: Session, trials: dict[str, int]):
    curve = decay_overlay(session, CurveChoices(trial_ids=(trials["high"],))).curves[0]
    assert len(curve.minutes) <= 300
    whole = trial_curve(session, trials["high"])
    assert min(whole.minutes) < -10  # the smoke before unit on
    assert max(whole.levels) >= max(curve.levels)


def test_normalised_levels_begin_at_a_hundred_percent(session: Session, trials: dict[str, int]):
    plain = decay_overlay(session, CurveChoices(trial_ids=(trials["high"],))).curves[0]
    share = decay_overlay(session, CurveChoices(trial_ids=(trials["high"],), normalised=True)).curves[0]
    assert share.levels[0] == pytest.approx(100, rel=0.1)
    assert share.levels[5] == pytest.approx(100 * plain.levels[5] / plain.start_level, rel=1e-4)
    assert share.clear_level == pytest.approx(100 * plain.clear_level / plain.start_level)


def test_a_unit_stands_for_its_latest_usable_trial(session: Session, small_bench: SmallBench, trials: dict[str, int]):
    overlay = decay_overlay(session, CurveChoices(unit_ids=(small_bench.unit_id,), setting="every"))
    assert [curve.trial_id for curve in overlay.curves] == [trials["low"], trials["high"]] or [
        curve.trial_id for curve in overlay.curves
    ] == [trials["high"], trials["low"]]


def test_a_unit_stands_for_the_latest_of_several_usable_trials_in_the_room(session: Session, small_bench: SmallBench):
    """Neither an earlier one that was added later, nor one of another room or of dust, nor one that is excluded."""
    own = (small_bench.unit_id, small_bench.high_setting_id)
    other = add_room(session, NewRoom(name="Room B", length_m=5, width_m=4, height_m=2.5))
    latest = add_runs(session, small_bench.room_id, [4.0, 4.1, 4.2], setting=own)[-1]
    add_runs(session, small_bench.room_id, [4.3], setting=own, first=FIRST - timedelta(days=1))
    add_runs(session, other, [4.4], setting=own, first=NOW)
    add_runs(session, small_bench.room_id, [4.5], setting=own, first=NOW, aerosol="dust")
    [excluded] = add_runs(session, small_bench.room_id, [4.6], setting=own, first=NOW)
    session.execute(update(Trial).where(Trial.id == excluded).values(excluded_at=NOW, excluded_why="a door was open"))
    asked = ([small_bench.high_setting_id], "pm2_5", small_bench.room_id)
    assert latest_usable_trials(session, *asked) == {small_bench.high_setting_id: latest}
    assert usable_trials(session, *asked)[small_bench.high_setting_id][-1] == latest


def test_without_points_everything_else_is_the_same(session: Session, trials: dict[str, int]):
    whole, words = decay_overlay(session), decay_overlay(session, with_points=False)
    assert words.curves[0].minutes == words.curves[0].fit_levels == ()
    emptied = [
        replace(curve, minutes=(), levels=(), fit_minutes=(), fit_levels=(), fit_low=(), fit_high=())
        for curve in whole.curves
    ]
    assert words.curves == tuple(emptied)
    assert overlay_text(whole) == overlay_text(words)


def test_what_cannot_be_drawn_is_told(session: Session, trials: dict[str, int]):
    overlay = decay_overlay(session, CurveChoices(trial_ids=(trials["high"], 999), unit_ids=(77,)))
    assert len(overlay.curves) == 1
    assert overlay.left_out == (
        "No usable trial at this setting in this room: unit 77.",
        "No result for this channel, or in the trash: trial 999.",
    )


def test_at_most_eight_curves_are_drawn(session: Session, trials: dict[str, int]):
    overlay = decay_overlay(session, CurveChoices(trial_ids=(*trials.values(), *range(900, 910))))
    assert overlay.left_out[0] == "13 curves were requested; the first 8 are shown."


def test_the_empty_room_is_not_drawn_twice(session: Session, trials: dict[str, int]):
    overlay = decay_overlay(session, CurveChoices(trial_ids=(trials["empty"], trials["high"])))
    assert overlay.empty_room is None
    assert overlay.curves[0].name == "Empty room"


def test_the_empty_room_can_be_left_out(session: Session, trials: dict[str, int]):
    assert decay_overlay(session, CurveChoices(with_empty_room=False)).empty_room is None


def test_an_unknown_scale_is_refused(session: Session):
    with pytest.raises(InvalidValue, match=r"The scale is 'cubic'; choose linear or log\."):
        decay_overlay(session, CurveChoices(scale="cubic"))


def test_a_trial_without_the_channel_is_not_found(session: Session, trials: dict[str, int]):
    with pytest.raises(NotFound, match="There is no result for this channel of trial 999"):
        trial_curve(session, 999)


def test_an_empty_bench_has_no_curves(session: Session):
    overlay = decay_overlay(session)
    assert (overlay.curves, overlay.empty_room, overlay.left_out) == ((), None, ())


def test_a_spread_goes_from_the_first_to_the_last():
    assert spread_over("abcdefghij", 4) == ["a", "d", "g", "j"]
    assert spread_over("ab", 4) == ["a", "b"]


def test_the_stored_analysis_draws_the_curve_of_the_analysis_itself(session: Session, trials: dict[str, int]):
    row = session.scalar(
        select(ChannelResult).where(ChannelResult.trial_id == trials["high"], ChannelResult.channel == "pm2_5")
    )
    assert row is not None
    fresh = analyse_stored_trial(session, get_trial(session, trials["high"])).decays["pm2_5"]
    minutes = np.linspace(0, 60, 50)
    for stored, made in zip(decay_curve(stored_channel_decay(row), minutes), decay_curve(fresh, minutes), strict=True):
        assert np.allclose(stored, made)
    assert stored_channel_decay(row).time_to_clear.value_min == fresh.time_to_clear.value_min


def test_a_result_without_a_fit_has_no_curve(session: Session, trials: dict[str, int]):
    row = session.scalar(select(ChannelResult).where(ChannelResult.trial_id == trials["high"]))
    assert row is not None
    row.fit_window_start_min = row.total_decay_per_h = None
    assert stored_channel_decay(row).fit is None
    session.flush()
    curve = decay_overlay(session, CurveChoices(trial_ids=(trials["high"],), channel=row.channel)).curves[0]
    assert curve.fit_minutes == ()
    assert curve.minutes != ()

"""What one line of the ranking says about its trials."""

import math
from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.clean_air.rate import clean_air_delivery_rate
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import (
    ASSUMED_BETWEEN_TRIALS,
    Repeatability,
    pooled_repeatability,
    with_spread,
)
from app.compute.statistics.shared_parts import SharedParts
from app.services.adding_trials.add import add_trial
from app.services.bench.definitions import NewRoom, NewSmokeSource
from app.services.bench.rooms import add_room
from app.services.bench.smoke_sources import add_smoke_source
from app.services.logs.trial_fields import NewTrial
from app.services.results.summaries import summary_values as summaries_of
from app.services.results.summary_trials import StoredPool, SummaryTrial
from app.services.results.update_derived import update_all_derived_results
from app.services.trials.trash import trash_unit, untrash_unit
from app.services.units.definitions import NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit
from app.storage.models.summaries import BenchRepeatability, SettingSummary
from app.storage.models.trials import ChannelResult, Trial
from tests.conftest import NOW, SmallBench, decay_log
from tests.services.adding_trials.test_add import empty, running

BENCH = Repeatability(0.04, 20.0, 9, 29, "repeats")


ORDINARY = Measured(6.0, 0.05, 30.0)


def trial(number: int = 1, total: Measured | None = ORDINARY, **told) -> SummaryTrial:
    values = {
        "trial_id": number,
        "unit_under_test_id": 1,
        "started_at": NOW + timedelta(days=number),
        "excluded_at": None,
        "usable": True,
        "total_decay": total,
        "logger_id": 1,
        "pool_id": None,
        "start_level": 300.0,
        "clear_level": 10.0,
        "clear_level_kind": "absolute",
        "clear_level_value": 10.0,
        "cleared": True,
        "time_to_clear_min": 35.0,
        "time_to_clear_uncertainty_min": 0.7,
        "not_cleared_before_min": None,
        "severity": 0,
        "room_volume_m3": 30.0,
        "room_volume_uncertainty_m3": 0.5,
        "shared": SharedParts(),
    } | told
    return SummaryTrial(**values)


def pool(between_run_sd: float = 0.02) -> StoredPool:
    return StoredPool(1, Measured(0.5, 0.03, 4.0), Measured(0.5, 0.05, 4.0), between_run_sd)


def summary_values(trials, spread, pools):
    (found,) = summaries_of([(trials, spread)], pools)
    return found


def test_a_single_trial_takes_its_spread_from_the_bench():
    found = summary_values([trial()], BENCH, {})
    assert found["between_trial_source"] == "bench repeatability"
    assert found["between_trial_sd_per_h"] == pytest.approx(0.24)
    assert found["total_decay_uncertainty_per_h"] == pytest.approx(
        with_spread(Measured(6.0, 0.05, 30.0), BENCH).uncertainty
    )


def test_on_a_new_bench_a_single_trial_takes_the_assumed_spread_and_says_so():
    found = summary_values([trial()], ASSUMED_BETWEEN_TRIALS, {})
    assert found["between_trial_source"] == "assumed spread"
    assert found["between_trial_sd_per_h"] == pytest.approx(0.05 * 6.0)
    half_width = Measured(
        6.0, found["total_decay_uncertainty_per_h"], found["total_decay_degrees_of_freedom"]
    ).expanded_uncertainty_95
    assert half_width == pytest.approx(1.96 * math.hypot(0.05, 0.3), rel=0.03)


def test_the_time_to_clear_of_a_single_trial_has_an_interval():
    """By hand: 5 % of the rate, 20 % of the smoke over ln 30, 2 % of its own, about 1.96 of their root mean square."""
    found = summary_values([trial()], ASSUMED_BETWEEN_TRIALS, {})
    relative = math.sqrt(0.05**2 + (0.2 / math.log(30)) ** 2 + 0.02**2)
    assert found["time_to_clear_min"] == pytest.approx(35.0)
    assert found["time_to_clear_high_min"] == pytest.approx(35.0 * math.exp(1.96 * relative), rel=0.01)
    assert found["time_to_clear_low_min"] == pytest.approx(35.0 * math.exp(-1.96 * relative), rel=0.01)


def test_at_a_share_of_the_start_level_the_amount_of_smoke_does_not_matter():
    share = trial(clear_level_kind="share_of_start", clear_level_value=0.05, clear_level=15.0)
    found, absolute = (summary_values([one], ASSUMED_BETWEEN_TRIALS, {}) for one in (share, trial()))
    assert found["time_to_clear_high_min"] < absolute["time_to_clear_high_min"] - 1.0


def test_a_slow_unit_moves_from_day_to_day_at_least_as_the_empty_room_does():
    slow = trial(total=Measured(0.6, 0.01, 30.0), pool_id=1)
    found = summary_values([slow], BENCH, {1: pool(between_run_sd=0.1)})
    assert found["between_trial_sd_per_h"] == pytest.approx(0.1)
    # fit and spread between days, which takes in the bench's relative figure of 0.024
    assert found["total_decay_uncertainty_per_h"] == pytest.approx(math.hypot(0.01, 0.1), rel=0.01)
    assert found["measurable"] is False
    assert found["at_most_m3_per_h"] > found["clean_air_delivery_rate_m3_per_h"]


def test_the_rate_of_a_setting_is_volume_times_total_less_natural_decay():
    found = summary_values([trial(pool_id=1)], BENCH, {1: pool()})
    assert found["clean_air_delivery_rate_m3_per_h"] == pytest.approx(30 * 5.5)
    assert found["pool_id"] == 1
    assert found["measurable"] is True
    assert found["at_most_m3_per_h"] is None
    # independent inputs, JCGM 100:2008, 5.1.2
    total = found["total_decay_uncertainty_per_h"]
    wanted = math.sqrt((30 * total) ** 2 + (30 * 0.03) ** 2 + (5.5 * 0.5) ** 2)
    assert found["clean_air_delivery_rate_uncertainty"] == pytest.approx(wanted)


def test_excluded_and_unusable_trials_are_counted_and_give_no_rate():
    found = summary_values(
        [trial(1), trial(2, excluded_at=NOW, total=Measured(9.0, 0.05)), trial(3, usable=False, total=None)],
        BENCH,
        {},
    )
    assert (found["trials"], found["usable_trials"], found["excluded_trials"]) == (3, 1, 1)
    assert found["total_decay_per_h"] == 6.0
    assert found["latest_trial_id"] == 3


def test_an_unusable_run_moves_neither_rate_nor_time_to_clear_nor_start_levels():
    usable = [trial(1), trial(2, time_to_clear_min=37.0)]
    told = {"usable": False, "total": None, "start_level": 900.0}
    alone = summary_values(usable, BENCH, {})
    for more in (
        {"time_to_clear_min": 9.0},
        {"cleared": False, "time_to_clear_min": None, "not_cleared_before_min": 90.0},
    ):
        both = summary_values([*usable, trial(3, **told, **more)], BENCH, {})
        counts = ("trials", "latest_trial_id", "latest_trial_on")
        assert {n: v for n, v in both.items() if n not in counts} == {n: v for n, v in alone.items() if n not in counts}


def test_a_setting_whose_trials_are_all_excluded_has_no_numbers():
    found = summary_values([trial(excluded_at=NOW)], BENCH, {})
    assert found["total_decay_per_h"] is None
    assert found["time_to_clear_min"] is None
    assert found["start_level_low"] is None
    assert (found["trials"], found["excluded_trials"]) == (1, 1)


def test_times_at_another_clear_level_are_not_mixed_in():
    other = trial(1, clear_level_value=50.0, clear_level=50.0, time_to_clear_min=18.0)
    found = summary_values([other, trial(2)], BENCH, {})
    assert found["time_to_clear_min"] == 35.0


def test_a_run_that_began_below_the_clear_level_has_no_time_to_clear():
    found = summary_values([trial(start_level=8.0, time_to_clear_min=0.0)], BENCH, {})
    assert found["time_to_clear_min"] is None
    assert found["start_level_low"] == 8.0


def test_trials_that_never_cleared_give_a_bound():
    never = [trial(n, cleared=False, time_to_clear_min=None, not_cleared_before_min=100.0 + n) for n in (1, 2)]
    found = summary_values(never, BENCH, {})
    assert found["censored_trials"] == 2
    assert found["time_to_clear_min"] is None
    # between them: half of such runs may have cleared before the longer one ended
    assert found["not_cleared_before_min"] == 101.5


def test_the_bound_is_one_that_short_and_long_runs_support():
    """The median of three times that are longer than 20, 60 and 172 min is longer than 60 min; not than 172."""
    runs = [
        trial(n, cleared=False, time_to_clear_min=None, not_cleared_before_min=m)
        for n, m in enumerate((20.0, 60.0, 172.0))
    ]
    found = summary_values(runs, BENCH, {})
    assert found["time_to_clear_min"] is None
    assert found["censored_trials"] == 3
    assert found["not_cleared_before_min"] == 60.0


@pytest.mark.parametrize("degrees", [1.0, 2.0, 4.0, 30.0])
@pytest.mark.parametrize("lent", [ASSUMED_BETWEEN_TRIALS, BENCH, Repeatability(0.001, 200.0, 60, 260, "repeats")])
def test_the_interval_of_one_trial_is_never_narrowed_by_being_summarised(degrees, lent):
    own, one_day = Measured(6.0, 0.3, degrees), pool(0.01)
    found = summary_values([trial(total=own, pool_id=1)], lent, {1: one_day})
    total = Measured(
        found["total_decay_per_h"],
        found["total_decay_uncertainty_per_h"],
        found["total_decay_degrees_of_freedom"] or math.inf,
    )
    assert total.value == own.value
    assert total.expanded_uncertainty_95 >= own.expanded_uncertainty_95 * (1 - 1e-9)
    of_trial = clean_air_delivery_rate(own, Measured(0.5, 0.05, 4.0), Measured(30.0, 0.5))
    width = found["clean_air_delivery_rate_high_95"] - found["clean_air_delivery_rate_low_95"]
    assert width >= 2 * of_trial.expanded_uncertainty_95 * (1 - 1e-9)


def test_repeats_do_not_average_out_what_humidity_does_to_all_of_them():
    wet = [trial(n, total=Measured(6.0, 0.5, 30.0), shared=SharedParts(humidity=0.48)) for n in range(12)]
    dry = [trial(n, total=Measured(6.0, 0.5, 30.0)) for n in range(12)]
    of_wet, of_dry = (summary_values(t, BENCH, {})["total_decay_uncertainty_per_h"] for t in (wet, dry))
    assert of_dry < 0.2
    assert 0.48 < of_wet < 0.5


def test_repeats_with_one_logger_share_its_warm_up_and_name_it():
    """By hand: twelve loggers leave the root of a twelfth of it; and a linearity is needed to cancel."""
    parts = SharedParts(warm_up=0.48, linearity=0.006)
    one, many = (
        summary_values(
            [trial(n, total=Measured(6.0, 0.5, 30.0), shared=parts, logger_id=logger(n)) for n in range(12)], BENCH, {}
        )
        for logger in (lambda _: 7, lambda n: n)
    )
    assert 0.48 < one["total_decay_uncertainty_per_h"] < 0.5
    assert many["total_decay_uncertainty_per_h"] == pytest.approx(
        math.sqrt(one["total_decay_uncertainty_per_h"] ** 2 - parts.total**2 * 11 / 12), rel=0.01
    )
    assert (one["logger_id"], many["logger_id"]) == (7, None)
    assert summary_values([trial(logger_id=7)], BENCH, {})["logger_id"] is None  # from before the budget


def test_the_worst_severity_is_that_of_the_trials_in_use():
    found = summary_values([trial(1, severity=1), trial(2, usable=False, severity=2)], BENCH, {})
    assert found["worst_severity"] == "care"
    assert summary_values([trial(usable=False, severity=2)], BENCH, {})["worst_severity"] == "unusable"


def _summaries(session: Session, channel: str = "pm2_5") -> list[SettingSummary]:
    return list(
        session.scalars(
            select(SettingSummary).where(SettingSummary.channel == channel).order_by(SettingSummary.id)
        ).all()
    )


def test_rooms_and_aerosols_are_never_combined(session: Session, small_bench: SmallBench):
    room = add_room(session, NewRoom(name="Room B", room_volume_m3=50))
    dust = add_smoke_source(session, NewSmokeSource(name="test dust", aerosol="dust"))
    add_trial(session, decay_log(6.0, seed=1), "1.csv", running(small_bench))
    asked = running(small_bench)
    for number, told in enumerate(({"room_id": room}, {"smoke_source_id": dust}, {"smoke_source_id": None}), start=2):
        values = {name: getattr(asked, name) for name in asked.__slots__} | told
        add_trial(session, decay_log(6.0, seed=number), f"{number}.csv", NewTrial(**values))
    found = [(s.room_id == room, s.aerosol, s.trials) for s in _summaries(session)]
    # a trial without a named source is taken for smoke
    assert sorted(found) == [(False, "dust", 1), (False, "smoke", 2), (True, "smoke", 1)]


def test_repeats_of_one_setting_lend_their_spread_to_another(session: Session, small_bench: SmallBench):
    for number, rate in enumerate((5.4, 6.0, 6.6, 6.3), start=1):
        log = decay_log(rate, seed=number, started_at=NOW + timedelta(days=number))
        add_trial(session, log, f"{number}.csv", running(small_bench))
    lent = session.get_one(BenchRepeatability, "pm2_5")
    assert (lent.groups, lent.trials) == (1, 4)
    assert lent.degrees_of_freedom == pytest.approx(8.0, rel=0.05)
    # the spread of the four is 0.085; with the assumption of 0.05 on five degrees of freedom it is between
    assert lent.relative_sd == pytest.approx(math.sqrt((5 * 0.05**2 * 3 / 5 + 3 * 0.085**2) / (8 - 2)), abs=0.01)
    unit = add_unit(session, NewUnit(maker="Maker B", model="Model 2"))
    setting = add_setting(session, unit, NewSetting(name="high"))
    asked = running(small_bench)
    values = {n: getattr(asked, n) for n in asked.__slots__} | {"unit_under_test_id": unit, "setting_id": setting}
    add_trial(session, decay_log(3.0, seed=9), "9.csv", NewTrial(**values))
    single = _summaries(session)[-1]
    assert single.between_trial_source == "assumed spread"  # five degrees of freedom assumed, three of repeats
    assert single.between_trial_sd_per_h == pytest.approx(lent.relative_sd * single.total_decay_per_h, rel=1e-6)
    pooled = pooled_repeatability([rates_of(session, setting_id=running(small_bench).setting_id)])
    kept = Repeatability(**{name: getattr(lent, name) for name in Repeatability.__slots__})
    assert kept == pooled.in_steps()


def test_a_unit_in_the_trash_lends_nothing(session: Session, small_bench: SmallBench):
    for number, rate in enumerate((5.4, 6.6), start=1):
        log = decay_log(rate, seed=number, started_at=NOW + timedelta(days=number))
        add_trial(session, log, f"{number}.csv", running(small_bench))
    assert session.get(BenchRepeatability, "pm2_5") is not None
    trash_unit(session, small_bench.unit_id, why="never built")
    session.expire_all()
    assert session.get(BenchRepeatability, "pm2_5") is None
    untrash_unit(session, small_bench.unit_id)
    session.expire_all()
    assert session.get_one(BenchRepeatability, "pm2_5").trials == 2


def rates_of(session: Session, setting_id: int) -> list[Measured]:
    rows = session.execute(
        select(
            ChannelResult.total_decay_per_h,
            ChannelResult.total_decay_uncertainty_per_h,
            ChannelResult.total_decay_degrees_of_freedom,
        )
        .join(Trial, Trial.id == ChannelResult.trial_id)
        .where(Trial.setting_id == setting_id, ChannelResult.channel == "pm2_5")
        .order_by(Trial.id)
    )
    return [Measured(*row) for row in rows]


def test_settling_a_settled_bench_moves_nothing(session: Session, small_bench: SmallBench):
    add_trial(session, decay_log(0.5, minutes=180, seed=5), "empty.csv", empty(small_bench))
    add_trial(session, decay_log(6.0), "run.csv", running(small_bench))
    before = [(s.id, s.computed_at, s.clean_air_delivery_rate_m3_per_h) for s in _summaries(session)]
    update_all_derived_results(session, why="once more")
    assert [(s.id, s.computed_at, s.clean_air_delivery_rate_m3_per_h) for s in _summaries(session)] == before

"""The invented scenario holds what a demonstration has to show, is called invented, and names nothing real."""

import hashlib
import re
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from app.storage.models.units_under_test import KINDS_OF_CLEANING
from seed_demo.log_writers import LAYOUTS, LOCAL_ZONE
from seed_demo.scenario import BENCH_NAME, LARGE_ROOM, SCENARIO, SMALL_ROOM, TARIFFS, UNITS
from seed_demo.trial_plan import TrialPlan, all_trials, small_trials, units_of
from seed_demo.truth import true_rate

PLANS = all_trials()
RUNNING = tuple(plan for plan in PLANS if not plan.empty_room)

# The first twelve digits of the SHA-256 of some real makers' names in small letters, so that none of them slips into
# the scenario and none of them has to stand here.
REAL_NAMES = """
0600c79833cc 0804730ff30f 09fc6697e719 0e79172671f5 13bb73875f29 19b19fd7aa46 2069868f15ae
29d471cd3aeb 30e363d3e8c5 33aa82f70810 3469ac2bc5c3 3a7bd3e2360a 4605eed71720 46c759e87193
4aede17fa069 4d13e1dbe7ab 52cf3e8f6680 587d392b6c76 59aee4d85281 59c1de0763e8 5f38c235a9ff
632e93023886 655a35cdc7b3 68323c1446f3 6d7b133c8399 70867fffd6e1 73fef34313f5 82eee9303b51
8cf4e0befe54 8f8b04de70f1 8fccc8d80cda 9466bdc75497 968e2d5b0868 976e40079732 9c00d7f73e33
aff10ea04c62 b04d42b1c0d5 b3d78e07def7 bad01d811d98 bbdefa2950f4 bc236a8abd26 bd853a2327fd
c26cce02ba4e c608c4787821 c7c1319276e9 ca6e0dc328e4 cae05f736c28 cbc62794911f ce3f8b6a0802
d37d96b42ad4 d5a776324dd4 dd4cb9cf52f0 e2bd9c6236a5 e2dd9b50d18d e68d265220fc e9a63a4eb157
ec11b12879e7 f20155bb3d8b ffd0aee5edcf
""".split()  # noqa: SIM905 - a block of text is easier to keep than a long list


def test_the_bench_is_called_invented_in_one_sentence():
    assert "invented" in BENCH_NAME.lower()
    assert SCENARIO.lower().startswith("invented")
    assert SCENARIO.count(".") == 1
    assert SCENARIO.endswith(".")


def test_no_real_maker_stands_anywhere_in_the_scenario():
    text = " ".join(path.read_text(encoding="utf-8").lower() for path in Path("seed_demo").glob("*.py"))
    words = set(re.findall(r"[a-z]+", text))
    assert len(words) > 500
    assert [word for word in words if hashlib.sha256(word.encode()).hexdigest()[:12] in REAL_NAMES] == []


def test_there_are_enough_units_of_enough_kinds_at_two_to_four_speeds():
    assert len(UNITS) >= 26
    assert len({unit.name for unit in UNITS}) == len(UNITS)
    assert {unit.kind for unit in UNITS} == set(KINDS_OF_CLEANING) - {"other"}
    assert all(2 <= len(unit.speeds) <= 4 for unit in UNITS)
    assert all(unit.highest.power_w == max(speed.power_w for speed in unit.speeds) for unit in UNITS)


def test_there_are_enough_trials_repeats_and_empty_room_runs_over_more_than_a_year():
    empty = [plan for plan in PLANS if plan.empty_room]
    assert len(RUNNING) >= 90
    assert len([plan for plan in empty if plan.room is LARGE_ROOM]) >= 8
    assert (empty[-1].started - empty[0].started).days > 365
    repeats = {(p.unit.name, p.speed.name) for p in RUNNING if p.unit and p.speed and p.speed.trials > 1}
    assert len(repeats) >= 25


def test_each_unit_was_bought_before_it_was_tested():
    assert [p.unit.name for p in RUNNING if p.unit and p.started.date() < p.unit.prices[0][0]] == []


def test_no_two_runs_stand_in_one_room_at_the_same_time():
    """Three and a half hours hold the longest run with its smoke."""
    for room in (LARGE_ROOM, SMALL_ROOM):
        starts = sorted(plan.started for plan in PLANS if plan.room is room)
        gaps = [(later - earlier).total_seconds() / 3600 for earlier, later in pairwise(starts)]
        assert min(gaps) > 3.5


@pytest.mark.parametrize(
    ("what", "holds"),
    [
        ("rising", lambda plan: plan.smoke_goes_on),
        ("door", lambda plan: plan.door_open is not None),
        ("second source", lambda plan: plan.van is not None),
        ("gap", lambda plan: plan.gap is not None),
        ("worn filter", lambda plan: plan.clean_air_share < 1),
        ("saturated", lambda plan: plan.start_level_ug_m3 > (plan.logger.sensor.saturation_level or 1e9)),
        ("second detector", lambda plan: plan.second_detector_gain > 2),
        ("logged too slowly", lambda plan: plan.interval_s > 60),
        ("cells with text", lambda plan: plan.faults),
        ("cut last row", lambda plan: plan.last_row_cut),
        ("excluded", lambda plan: plan.excluded_by and plan.excluded_why),
    ],
)
def test_what_can_go_wrong_goes_wrong_once_or_twice(what: str, holds):
    assert 1 <= len([plan for plan in RUNNING if holds(plan)]) <= 2, what


def test_a_run_goes_through_the_night_in_which_the_clocks_go_back():
    zone = ZoneInfo(LOCAL_ZONE)
    night = [p for p in PLANS if p.started.date() == date(2025, 11, 2)]
    assert len(night) == 1
    begin = night[0].started.replace(tzinfo=zone)
    assert begin.utcoffset() != datetime(2025, 11, 2, 3, 30, tzinfo=zone).utcoffset()
    assert LAYOUTS[night[0].logger.layout][1] == "txt"


def test_all_four_layouts_are_used_often():
    used = [plan.logger.layout for plan in PLANS]
    assert min(used.count(layout) for layout in LAYOUTS) >= 15


def test_prices_consumables_ratings_and_claims_show_every_case():
    parts = [part for unit in UNITS for part in unit.parts or ()]
    ratings = [rating for unit in UNITS for rating in unit.ratings]
    claims = [claim for unit in UNITS for claim in unit.claims]
    assert any(unit.parts == () for unit in UNITS)
    assert any(not part.prices and not part.washable for part in parts)
    assert any(part.washable for part in parts)
    assert any(part.life_months and part.life_running_hours for part in parts)
    assert any(rating.rate_m3_per_h is None for rating in ratings)
    assert any(rating.sister_model for rating in ratings)
    assert any(claim.quantity == "sound_level" and (claim.value or 99) < 10 for claim in claims)
    assert {tariff.standing for tariff in TARIFFS} == {"own bill", "read"}
    assert sum(len(unit.prices) > 1 for unit in UNITS) >= 10


def test_the_true_rate_of_pm1_is_the_rate_of_the_speed():
    unit = UNITS[0]
    assert true_rate(unit, unit.highest, "pm1").clean_air_m3_per_h == pytest.approx(unit.highest.clean_air_m3_per_h)


def test_the_quick_bench_is_small_and_whole():
    plans = small_trials()
    assert len(units_of(plans)) == 5
    assert sum(plan.empty_room for plan in plans) == 3
    assert sum(not plan.empty_room for plan in plans) == 12
    assert not any(_went_wrong(plan) for plan in plans)


def _went_wrong(plan: TrialPlan) -> bool:
    return bool(plan.smoke_goes_on or plan.door_open or plan.van or plan.gap or plan.excluded_why)

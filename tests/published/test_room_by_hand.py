"""The advice for a room against a sheet worked out by hand from the rule's own words and the law of a mixed room.

Rule: a unit suits a floor of 1.55 ft² for each ft³/min of its smoke rate (public page of a trade association, read); a
foot is 0.3048 m (definition). Time to clear: C = C0 exp(-Q t / V), so 95 % less takes ln 20 / (Q / V) (the law behind
Table B.1 of the US CDC guidelines of 2003, read). Two equal sources: 10 lg 2 = 3.01 dB more.
"""

import math

import pytest

from app.services.ranking.room_advice import RoomChoices, advice_for_room
from app.services.snapshot.bench_snapshot import current_snapshot
from tests.sample_data.measured_facts import add_price, add_rate, add_sound, add_unit_with_setting

FOOT_M = 0.3048
AREA_M2, HEIGHT_M = 20.0, 8 * FOOT_M
NEED = AREA_M2 / FOOT_M**2 / 1.55 * FOOT_M**3 * 60  # m³/h: 215.3 ft², 138.9 ft³/min


def advise(session, choices):
    return advice_for_room(current_snapshot(session), choices)


@pytest.fixture
def bench(session, small_bench):
    """A fits; B is strong and loud; C is quiet and weak; D is strong, quiet and priced in another currency."""
    room = small_bench.room_id
    for model, rate, sound, price, currency in (
        ("A", 240.0, 44.0, 150.0, "USD"),
        ("B", 400.0, 55.0, 120.0, "USD"),
        ("C", 130.0, 35.0, 80.0, "USD"),
        ("D", 500.0, 40.0, 90.0, "EUR"),
    ):
        unit, setting = add_unit_with_setting(session, model)
        add_rate(session, unit, setting, room, rate, 1.0)
        add_sound(session, unit, setting, sound)
        add_price(session, unit, price, currency)
    return session


def models(candidates):
    return [c.unit.split()[-1] for c in candidates]


def test_the_rule_asks_for_236_cubic_metres_an_hour(bench):
    found = advise(bench, RoomChoices(room_area_m2=AREA_M2))
    assert pytest.approx(235.98, abs=0.01) == NEED
    assert found.need.rate_m3_per_h == pytest.approx(NEED)
    assert found.need.air_changes_per_h == pytest.approx(60 / (1.55 * 8), rel=1e-6)  # 4.84 of the rule
    assert any("8 ft (2.44 m)" in words and "4.84 air changes" in words for words in found.need.assumptions)


def test_what_passes_all_three_limits_and_how_long_it_takes(bench):
    found = advice_for_room(
        current_snapshot(bench), RoomChoices(room_area_m2=AREA_M2, max_sound_dba=45.0, max_price=200.0)
    )
    assert models(fit.candidate for fit in found.advice.fits) == ["A"]
    fit = found.advice.fits[0]
    volume = AREA_M2 * HEIGHT_M
    assert fit.air_changes_per_h.value == pytest.approx(240.0 / volume)
    assert fit.minutes_to_clear == pytest.approx(60 * math.log(20) * volume / 240.0)
    half = 1.959964 * 1.0  # of the rate
    low, high = (60 * math.log(20) * volume / (240.0 + sign * half) for sign in (1, -1))
    assert fit.minutes_interval_95 == (pytest.approx(low), pytest.approx(high))
    assert fit.sure  # 240 - 1.96 lies above 235.98
    reasons = {left.candidate.unit.split()[-1]: left.fields for left in found.advice.left_out}
    assert {model: reasons[model] for model in "BCD"} == {"B": ("sound",), "C": ("rate",), "D": ("price",)}


def test_without_a_budget_the_price_in_another_currency_does_not_matter(bench):
    found = advice_for_room(
        current_snapshot(bench), RoomChoices(room_area_m2=AREA_M2, max_sound_dba=45.0, max_price=None)
    )
    assert models(fit.candidate for fit in found.advice.fits) == ["A", "D"]  # what has no price here stands last


def test_two_of_the_weak_one_serve_together(bench):
    found = advice_for_room(
        current_snapshot(bench), RoomChoices(room_area_m2=AREA_M2, max_sound_dba=45.0, max_price=200.0)
    )
    pair = next(fit for fit in found.pairs if fit.candidate.unit.endswith("C"))
    assert pair.candidate.rate.value == 260.0
    assert pair.candidate.price == 160.0
    assert pair.candidate.sound_dba == pytest.approx(35.0 + 10 * math.log10(2.0))


def test_the_frontier_is_what_nothing_beats_on_price_sound_and_air(bench):
    """A: quieter than B. B: stronger and cheaper than A. C: cheapest and quietest. D has no price in this currency."""
    found = advise(bench, RoomChoices(room_area_m2=AREA_M2))
    assert models(found.frontier) == ["C", "B", "A"]


@pytest.mark.parametrize("limits", [{"max_sound_dba": 0.0}, {"max_price": 0.0, "max_sound_dba": None}])
def test_a_ceiling_or_a_budget_of_nothing_leaves_nothing_and_says_so(bench, limits):
    found = advise(bench, RoomChoices(room_area_m2=AREA_M2, **limits))
    assert found.advice.fits == ()
    assert found.pairs == ()
    field = "sound" if limits["max_sound_dba"] == 0.0 else "price"
    assert any(left.field == field and left.units == found.units for left in found.left_out)


def test_a_hall_is_served_by_nobody_and_the_nearest_is_named(bench):
    found = advise(bench, RoomChoices(room_area_m2=500.0, max_sound_dba=45.0))
    assert found.advice.fits == ()
    assert found.strongest_within_limits.unit.endswith("D")
    assert found.quietest_that_serves is None

import random

import pytest

from app.compute.clean_air.room_need import need_by_air_changes
from app.compute.comparison.room_advice import Candidate, Wish, advice_of, advise, frontier, point_of, two_of
from app.compute.statistics.measured import Measured


def candidate(name="a", rate=200.0, sound=45.0, price=100.0, measurable=True, uncertainty=5.0):
    return Candidate(name, "high", None if rate is None else Measured(rate, uncertainty), measurable, sound, price)


NEED = need_by_air_changes(16.0, 2.5, 4.0)  # 160 m³/h


def test_what_serves_stands_cheapest_first_with_its_time_to_clear():
    found = advise((candidate("dear", price=300.0), candidate("cheap", rate=240.0)), Wish(NEED, 46.0, 400.0))
    assert [fit.candidate.unit for fit in found.fits] == ["cheap", "dear"]
    cheap = found.fits[0]
    assert cheap.air_changes_per_h.value == pytest.approx(6.0)
    assert cheap.minutes_to_clear == pytest.approx(29.957, abs=1e-3)  # 60 ln 20 / 6
    assert cheap.sure
    assert found.left_out == ()


def test_at_one_price_the_quieter_comes_first():
    found = advise((candidate("loud", sound=50.0), candidate("quiet", sound=40.0)), Wish(NEED))
    assert [fit.candidate.unit for fit in found.fits] == ["quiet", "loud"]


def test_a_rate_whose_interval_reaches_below_the_need_is_not_sure():
    fit = advise((candidate(rate=165.0, uncertainty=5.0),), Wish(NEED)).fits[0]
    assert not fit.sure


def test_every_reason_for_leaving_out_is_given():
    found = advise((candidate(rate=100.0, sound=55.0, price=500.0),), Wish(NEED, 45.0, 200.0))
    assert found.left_out[0].reasons == (
        "delivers 100 m³/h; the room needs 160",
        "55 dB(A); the limit is 45",
        "costs 500; the limit is 200",
    )
    assert found.left_out[0].fields == ("rate", "sound", "price")


def test_what_is_not_known_cannot_serve_where_it_is_asked_for():
    unknown = Candidate("a", "high", None, False, None, None)
    assert advise((unknown,), Wish(NEED, 45.0, 200.0)).left_out[0].reasons == (
        "clean air rate not measured",
        "sound not measured",
        "price not recorded",
    )
    silent = candidate(sound=None, price=None)
    assert advise((silent,), Wish(NEED)).fits[0].candidate is silent


def test_advice_given_unit_by_unit_is_the_advice_on_all():
    draw = random.Random(7)
    many = [
        candidate(
            f"unit {n // 3}",
            draw.choice((150.0, 170.0, 200.0)),
            draw.choice((40.0, 45.0, None)),
            draw.choice((90.0, 120.0)),
        )
        for n in range(60)
    ]
    wish = Wish(NEED, 44.0, 110.0)
    by_unit = [advise(tuple(many[first : first + 3]), wish) for first in range(0, 60, 3)]
    assert advice_of(by_unit) == advise(tuple(many), wish)
    assert advice_of(by_unit).fits
    assert advice_of(()) == advise((), wish)


def test_what_misses_one_of_the_three_has_no_point():
    assert point_of(candidate()) == (100.0, 45.0, -200.0)
    for missing in (candidate(rate=None), candidate(sound=None), candidate(price=None), candidate(measurable=False)):
        assert point_of(missing) is None


def test_no_measurable_cleaning_never_serves():
    nothing = candidate(rate=400.0, measurable=False)
    assert advise((nothing,), Wish(NEED)).left_out[0].reasons == ("no measurable cleaning",)


def test_an_upper_bound_of_sound_counts_as_the_level():
    bounded = Candidate("a", "high", Measured(200.0, 5.0), True, 46.0, 100.0, sound_is_upper_bound=True)
    assert advise((bounded,), Wish(NEED, 45.0)).left_out[0].reasons == ("up to 46 dB(A); the limit is 45",)


def test_the_frontier_keeps_what_nothing_beats():
    strong = candidate("strong", 400.0, 60.0, 400.0)
    quiet = candidate("quiet", 100.0, 30.0, 200.0)
    cheap = candidate("cheap", 150.0, 55.0, 50.0)
    beaten = candidate("beaten", 140.0, 56.0, 60.0)
    assert [c.unit for c in frontier((strong, quiet, cheap, beaten))] == ["cheap", "quiet", "strong"]


def test_equals_do_not_beat_each_other():
    assert len(frontier((candidate("a"), candidate("b")))) == 2


def test_what_misses_one_of_the_three_takes_no_part():
    missing = [candidate(rate=None), candidate(sound=None), candidate(price=None), candidate(measurable=False)]
    assert frontier(tuple(missing)) == ()


def test_two_of_a_unit_give_twice_the_air_and_three_decibels_more():
    pair = two_of(candidate(rate=200.0, uncertainty=5.0, sound=40.0, price=100.0))
    assert (pair.rate.value, pair.rate.uncertainty, pair.price) == (400.0, 10.0, 200.0)
    assert pair.sound_dba == pytest.approx(43.0103, abs=1e-4)


def test_two_of_what_is_not_known_stay_unknown():
    pair = two_of(Candidate("a", "high", None, False, None, None))
    assert (pair.rate, pair.sound_dba, pair.price) == (None, None, None)


@pytest.mark.parametrize("seed", range(20))
def test_the_frontier_is_that_of_comparing_each_with_each(seed):
    """Small whole numbers, so that ties are common."""
    draw = random.Random(seed)
    many = tuple(
        candidate(str(n), rate=draw.randint(1, 9) * 10.0, sound=draw.randint(30, 38), price=draw.randint(1, 9) * 10.0)
        for n in range(60)
    )
    points = {c.unit: (c.price, c.sound_dba, -c.rate.value) for c in many}  # less is better in each

    def beaten(point: tuple[float, ...]) -> bool:
        return any(
            other != point and all(a <= b for a, b in zip(other, point, strict=True)) for other in points.values()
        )

    by_pairs = {unit for unit, point in points.items() if not beaten(point)}
    assert {c.unit for c in frontier(many)} == by_pairs

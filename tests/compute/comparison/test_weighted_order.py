"""Weighted ranking, and its sensitivity to the weights."""

import pytest

from app.compute.comparison.weighted_order import WeightedQuantity, weighted_order

KEYS = [1, 2, 3]


def clean_air(weight=1.0, values=(100.0, 300.0, 200.0)):
    return WeightedQuantity("clean air", weight, True, values)


def sound(weight=1.0, values=(35.0, 60.0, 40.0)):
    return WeightedQuantity("sound", weight, False, values)


def places(order):
    return {row.key: row.place for row in order.rows}


def test_the_mean_is_the_weighted_one_of_the_scaled_quantities():
    """By hand: clean air 0, 1, 0.5; sound 1, 0, 0.8; weights 3 and 1."""
    order = weighted_order(KEYS, [clean_air(3.0), sound(1.0)])
    assert {row.key: row.mean for row in order.rows} == pytest.approx({1: 0.25, 2: 0.75, 3: 0.575})
    assert [row.key for row in order.rows] == [2, 3, 1]
    assert order.rows[1].parts == pytest.approx((0.375, 0.2))


def test_only_the_share_of_a_weight_counts():
    one, ten = (weighted_order(KEYS, [clean_air(3 * f), sound(1 * f)]) for f in (1, 10))
    assert [row.mean for row in one.rows] == pytest.approx([row.mean for row in ten.rows])


def test_with_one_quantity_the_order_is_that_quantity():
    assert places(weighted_order(KEYS, [clean_air(), sound(0.0)])) == {2: 1, 3: 2, 1: 3}


def test_the_movement_shows_each_weight_changed_alone():
    order = weighted_order(KEYS, [clean_air(3.0), sound(1.0)])
    assert [(m.quantity, m.change) for m in order.movements] == [
        ("clean air", "without"),
        ("clean air", "halved"),
        ("clean air", "doubled"),
        ("sound", "without"),
        ("sound", "halved"),
        ("sound", "doubled"),
    ]
    without_clean_air = order.movements[0]
    # rows are in the order 2, 3, 1; by sound alone 1, 3, 2
    assert without_clean_air.places == (3, 2, 1)
    first = order.rows[0]
    assert (first.place, first.highest_place, first.lowest_place) == (1, 1, 3)


def test_the_only_weight_cannot_be_removed():
    order = weighted_order(KEYS, [clean_air(2.0), sound(0.0)])
    assert [m.change for m in order.movements] == ["halved", "doubled"]
    assert all(m.places == (1, 2, 3) for m in order.movements)


def test_equal_means_share_the_better_place():
    order = weighted_order([1, 2, 3], [clean_air(1.0, (5.0, 5.0, 1.0))])
    assert places(order) == {1: 1, 2: 1, 3: 3}


def test_a_quantity_without_a_spread_decides_nothing():
    order = weighted_order(KEYS, [clean_air(1.0), sound(5.0, (40.0, 40.0, 40.0))])
    assert places(order) == {2: 1, 3: 2, 1: 3}


def test_a_unit_that_lacks_a_weighted_quantity_has_no_place_and_it_is_said():
    order = weighted_order(KEYS, [clean_air(), sound(1.0, (35.0, None, 40.0))])
    assert order.without_place == ((2, ("sound",)),)
    assert set(places(order)) == {1, 3}


def test_a_missing_value_without_a_weight_is_no_matter():
    order = weighted_order(KEYS, [clean_air(), sound(0.0, (None, None, None))])
    assert order.without_place == ()
    assert len(order.rows) == 3


def test_where_no_unit_has_everything_the_order_is_empty():
    order = weighted_order([1], [clean_air(1.0, (None,))])
    assert (order.rows, order.movements, order.without_place) == ((), (), ((1, ("clean air",)),))


@pytest.mark.parametrize(
    ("quantities", "message"),
    [
        (
            [clean_air(0.0)],
            r"^Every weight is zero; a ranking needs at least one weight above zero\.$",
        ),
        ([clean_air(-1.0)], r"^The weight of clean air is -1\.0; it must be zero or above\.$"),
        ([clean_air(float("nan"))], r"^The weight of clean air is nan; it must be zero or above\.$"),
        ([clean_air(1.0, (1.0,))], r"^clean air has 1 values for 3 units; each needs one, or None\.$"),
    ],
)
def test_weights_that_cannot_be_are_refused(quantities, message):
    with pytest.raises(ValueError, match=message):
        weighted_order(KEYS, quantities)

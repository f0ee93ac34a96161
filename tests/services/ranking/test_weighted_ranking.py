"""A reader's own order over the lines of the ranking."""

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.ranking.weighted_ranking import readers_order
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import RankingChoices
from tests.sample_data.compared_bench import ComparedBench, fill


@pytest.fixture
def bench(session: Session) -> ComparedBench:
    return fill(session)


def models(ordered):
    return [ordered.lines[row.key].row.model for row in ordered.order.rows]


def test_without_weights_the_bench_gives_no_order(session: Session, bench: ComparedBench):
    ordered = readers_order(current_snapshot(session), {})
    assert ordered.order is None
    assert set(ordered.weights.values()) == {0.0}


def test_one_weight_orders_by_that_quantity(session: Session, bench: ComparedBench):
    assert models(readers_order(current_snapshot(session), {"clean_air_delivery_rate": 1})) == [
        "Alder",
        "Birch",
        "Cedar",
    ]
    assert models(readers_order(current_snapshot(session), {"sound": 5})) == ["Birch", "Cedar", "Alder"]
    assert models(readers_order(current_snapshot(session), {"price": 1})) == ["Birch", "Cedar", "Alder"]


def test_the_order_moves_with_the_weights(session: Session, bench: ComparedBench):
    strong = readers_order(current_snapshot(session), {"clean_air_delivery_rate": 3, "power": 1})
    thrifty = readers_order(current_snapshot(session), {"clean_air_delivery_rate": 1, "power": 3})
    assert models(strong)[0] == "Alder"
    assert models(thrifty)[0] == "Birch"
    assert strong.order is not None
    without_clean_air = next(m for m in strong.order.movements if m.change == "without")
    assert without_clean_air.places[0] == 3


def test_noise_bounds_and_foreign_prices_give_no_place(session: Session, bench: ComparedBench):
    ordered = readers_order(current_snapshot(session), {"clean_air_delivery_rate": 1, "sound": 1, "price": 1})
    assert ordered.order is not None
    lacking = {ordered.lines[key].row.model: names for key, names in ordered.order.without_place}
    assert lacking["Dud"] == ("Clean air delivery rate", "Sound", "Price")
    assert lacking["Elm"] == ("Clean air delivery rate", "Sound", "Price")


def test_running_costs_that_are_lower_bounds_give_no_place(session: Session, bench: ComparedBench):
    ordered = readers_order(current_snapshot(session), {"running_cost": 1})
    assert ordered.order is not None
    assert ordered.order.rows == ()


def test_the_filters_of_the_ranking_hold(session: Session, bench: ComparedBench):
    ordered = readers_order(
        current_snapshot(session), {"clean_air_delivery_rate": 1}, RankingChoices(search="birch", limit=1)
    )
    assert models(ordered) == ["Birch"]


@pytest.mark.parametrize(
    ("weights", "field", "message"),
    [
        ({"sound": -1.0}, "sound", "A weight is -1; it must be from 0 to 100. Only the ratios matter."),
        ({"sound": float("inf")}, "sound", "A weight is inf; it must be from 0 to 100."),
        ({"price": 101.0}, "price", "A weight is 101; it must be from 0 to 100."),
        (
            {"beauty": 1.0},
            "beauty",
            "There is no quantity 'beauty' to weight; choose one of: clean_air_delivery_rate",
        ),
    ],
)
def test_weights_that_cannot_be_are_refused(session: Session, weights: dict[str, float], field: str, message: str):
    with pytest.raises(InvalidValue) as refused:
        readers_order(current_snapshot(session), weights)
    assert refused.value.message.startswith(message)
    assert refused.value.field == field

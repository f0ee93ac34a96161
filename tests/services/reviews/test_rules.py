"""Strengths and weaknesses: a rule speaks where its threshold is met, and is silent elsewhere."""

import re
from dataclasses import replace

import pytest
from sqlalchemy.orm import Session

from app.services.measurements.claims import add_claim
from app.services.measurements.definitions import NewClaim, NewOzoneTest
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.reviews.facts import review_facts
from app.services.reviews.places import Place
from app.services.reviews.rules import RULES, points_of
from app.services.reviews.thresholds import FEWEST_TO_PLACE, OUTER_SHARE, THRESHOLDS
from app.services.reviews.wording import DraftPoint
from tests.sample_data.measured_facts import DAY, add_power
from tests.sample_data.reviewed_bench import ReviewedBench, fill


@pytest.fixture
def bench(session: Session) -> ReviewedBench:
    return fill(session)


def points(session: Session, bench: ReviewedBench, model: str) -> dict[str, DraftPoint]:
    return {point.key: point for point in points_of(review_facts(session, bench.units[model]))}


def test_every_rule_has_its_threshold_in_words():
    assert set(RULES) == set(THRESHOLDS)


def test_a_quarter_is_only_told_of_enough_units():
    assert Place(1, FEWEST_TO_PLACE).in_first_share
    assert not Place(1, FEWEST_TO_PLACE - 1).in_first_share
    assert not Place(FEWEST_TO_PLACE - 1, FEWEST_TO_PLACE - 1).in_last_share
    assert [Place(place, 8).in_first_share for place in (2, 3)] == [True, False]
    assert [Place(place, 8).in_last_share for place in (6, 7)] == [False, True]
    assert OUTER_SHARE * 8 == 2


def test_the_strongest_and_the_weakest_are_told_with_their_place(session: Session, bench: ReviewedBench):
    strong, weak = points(session, bench, "Fir")["clean_air"], points(session, bench, "Hazel")["clean_air"]
    assert (strong.kind, strong.position) == ("strength", "rank 1 of 8 units with measurable cleaning")
    assert strong.text.startswith("It delivers a lot of clean air: 252")  # 30 m³ (9.0 - 0.6) per hour
    assert (weak.kind, weak.position) == ("weakness", "rank 8 of 8 units with measurable cleaning")


def test_no_rule_calls_a_unit_the_best(session: Session, bench: ReviewedBench):
    for model in bench.units:
        for point in points(session, bench, model).values():
            assert not {"best", "worst", "perfect", "excellent"} & set(point.text.lower().split())


def test_a_middling_unit_has_nothing_said_of_its_clean_air(session: Session, bench: ReviewedBench):
    assert "clean_air" not in points(session, bench, "Juniper")


@pytest.mark.parametrize(("model", "changed"), [("Fir", {"rank_high_95": 5}), ("Hazel", {"rank_low_95": 4})])
def test_a_rank_interval_that_reaches_the_other_half_makes_neither_strength_nor_weakness(
    session: Session, bench: ReviewedBench, model: str, changed: dict[str, int]
):
    facts = review_facts(session, bench.units[model])
    assert facts.ranked == 8
    assert RULES["clean_air"](facts) is not None
    assert RULES["clean_air"](replace(facts, rank=replace(facts.rank, **changed))) is None


def test_what_does_not_clean_measurably_is_a_weakness_and_has_no_place(session: Session, bench: ReviewedBench):
    found = points(session, bench, "Dud")
    assert "cannot be told apart from an empty room" in found["no_measurable_cleaning"].text
    assert "clean_air" not in found


def test_a_unit_that_was_never_tried_gets_no_points(session: Session, bench: ReviewedBench):
    assert points(session, bench, "Elm") == {}


def test_loud_and_quiet_need_the_whole_interval(session: Session, bench: ReviewedBench):
    loud = points(session, bench, "Hazel")
    assert loud["loud"].text.startswith("It is loud at its highest setting: 58")
    assert "quiet" not in loud
    quiet = points(session, bench, "Ivy")
    assert "at 30\u00a0dB(A)" in quiet["quiet"].text
    assert "loud" not in points(session, bench, "Alder")  # 50 dB(A)


def test_price_and_power_for_the_clean_air(session: Session, bench: ReviewedBench):
    cheap, dear = points(session, bench, "Fir"), points(session, bench, "Hazel")
    assert cheap["price_of_air"].kind == "strength"
    assert "47.6\u00a0USD per 100\u00a0m³/h" in cheap["price_of_air"].text  # 100 · 120 / 252
    assert dear["price_of_air"].kind == "weakness"
    assert (cheap["efficiency"].kind, dear["efficiency"].kind) == ("strength", "weakness")


def test_power_while_off_is_told_above_its_threshold(session: Session, bench: ReviewedBench):
    add_power(session, bench.units["Fir"], None, 4.0, 0.1)
    add_power(session, bench.units["Ivy"], None, 1.1, 0.1)  # its interval reaches below 1 W
    assert "4.0\u00a0W in standby" in points(session, bench, "Fir")["standby"].text
    assert "standby" not in points(session, bench, "Ivy")


def test_a_figure_uncertain_by_more_than_thirty_percent_is_told_with_its_interval(
    session: Session, bench: ReviewedBench
):
    """One reading known to half of itself beside the meter's: the efficiency no longer stands alone."""
    sure = points(session, bench, "Fir")["efficiency"].text
    assert "(" not in sure
    add_power(session, bench.units["Fir"], bench.settings["Fir"], 10.4, 12.0)
    text = points(session, bench, "Fir")["efficiency"].text
    assert re.search(r"m³/h per watt \([\d.]+ to [\d.]+\) at \d+\u00a0W \(\d+ to \d+\)", text), text
    add_power(session, bench.units["Fir"], None, 4.0, 1.3)
    standby = points(session, bench, "Fir")["standby"].text
    assert "4.0\u00a0W (1.5 to 6.5) in standby" in standby


def test_claims_that_hold_and_claims_that_do_not(session: Session, bench: ReviewedBench):
    for model, value in (("Fir", 250.0), ("Hazel", 250.0)):
        claim = NewClaim(
            quantity="clean_air_delivery_rate",
            wording="much air",
            value=value,
            unit_symbol="m³/h",
            seen_on=DAY,
        )
        add_claim(session, bench.units[model], claim)
    assert points(session, bench, "Fir")["claims"].kind == "strength"
    assert (
        points(session, bench, "Hazel")["claims"].text == "The measurements do not support the only claim of the maker."
    )


def test_ozone_above_a_limit_is_a_weakness(session: Session, bench: ReviewedBench):
    add_ozone_test(session, bench.units["Fir"], NewOzoneTest(ozone_ppb=62.0, tested_on=DAY))
    assert "62 ppb, above 50 ppb" in points(session, bench, "Fir")["ozone"].text

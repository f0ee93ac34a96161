"""Pages of comparison, rank intervals and weighted ranking."""

import html
import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, update

from app.services.adding_trials.add import add_trial
from app.services.logs.trial_fields import NewTrial
from app.services.units.definitions import NewUnit
from app.services.units.entry import add_unit
from app.storage.engine import session_scope
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest
from tests.conftest import NOW, SmallBench, decay_log
from tests.sample_data.compared_bench import ComparedBench, fill


@pytest.fixture
def bench(store: Engine) -> ComparedBench:
    with session_scope(store) as session:
        return fill(session)


def compare_address(bench: ComparedBench, *models: str, more: str = "") -> str:
    return "/compare?" + "&".join(f"setting_id={setting_id}" for setting_id in bench.ids(*models)) + more


def words_of(page: str) -> str:
    """The text of the page's main part."""
    main = page[page.index("<main") : page.index("</main")]
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", main)))


def test_two_are_compared_in_words_and_figures(bench: ComparedBench, client: TestClient):
    answer = client.get(compare_address(bench, "Alder", "Birch"))
    assert answer.status_code == 200
    words = words_of(answer.text)
    assert "Alder and Birch compared" in words
    assert "Alder delivers 1.10 times as much clean air as Birch; between 1.0" in words
    assert "Birch is 2.0 dB quieter than Alder" in words
    # the figures behind it: 15 m³/h more, with the interval of the difference
    assert "Clean air delivery rate 15 m³/h (8 to 22)" in words
    assert "above 99 %" in words
    assert "Not compared: Only a lower bound of the running cost of Alder is known." in words
    assert 'data-figure-url="/figures/decay-overlay.json?trial=' in answer.text


def test_the_first_is_what_the_others_are_held_against(bench: ComparedBench, client: TestClient):
    three = compare_address(bench, "Alder", "Birch", "Cedar")
    page = client.get(three).text
    assert "clearly less" in words_of(page)
    follow = re.search(r'href="(/compare\?[^"]*first=\d+[^"]*)"', page)
    assert follow is not None
    turned = words_of(client.get(html.unescape(follow[1])).text)
    assert "whether the data tell it apart from Birch" in turned
    assert "clearly more" in turned
    assert "not told apart" in turned


def test_one_can_be_left_out_of_three_but_not_of_two(bench: ComparedBench, client: TestClient):
    three = client.get(compare_address(bench, "Alder", "Birch", "Cedar")).text
    leave = re.findall(r'href="(/compare\?[^"]*)">Remove<', three)
    assert len(leave) == 3
    left = client.get(html.unescape(leave[0])).text
    assert "Birch and Cedar compared" in words_of(left)
    assert ">Remove<" not in left


def test_three_begin_with_the_strongest_and_what_it_cannot_be_told_from(bench: ComparedBench, client: TestClient):
    assert "Alder delivers the most clean air, 162 " in words_of(
        client.get(compare_address(bench, "Alder", "Birch", "Cedar")).text
    )
    two_alike = words_of(client.get(compare_address(bench, "Birch", "Cedar", "Dud")).text)
    assert "Birch delivers the most clean air" in two_alike
    assert "in a statistical tie with Cedar when all are judged together." in two_alike
    assert "at most" in two_alike


def test_cubic_feet_where_they_are_asked_for(bench: ComparedBench, client: TestClient):
    words = words_of(client.get(compare_address(bench, "Alder", "Birch", more="&units=us")).text)
    assert "Clean air delivery rate [cfm]" in words
    assert "9 cfm (5 to 13)" in words


def test_units_stand_for_their_highest_setting(bench: ComparedBench, client: TestClient):
    answer = client.get(f"/compare?unit_id={bench.units['Alder']}&unit_id={bench.units['Birch']}")
    assert "Alder and Birch compared" in words_of(answer.text)


def test_without_a_choice_the_page_offers_one(bench: ComparedBench, client: TestClient):
    none, one = client.get("/compare"), client.get(compare_address(bench, "Cedar"))
    assert "Select 2 to 8 settings below." in words_of(none.text)
    assert none.text.count('name="setting_id"') == 5
    assert "One setting is selected. Select another, up to 8 in total." in words_of(one.text)
    cedar = bench.settings["Cedar"]
    assert f'id="setting-{cedar}" name="setting_id" type="checkbox" value="{cedar}" checked' in one.text


def test_a_search_keeps_what_was_chosen(bench: ComparedBench, client: TestClient):
    page = client.get(compare_address(bench, "Alder", more="&search=birch")).text
    assert page.count('name="setting_id"') == 2
    assert f'value="{bench.settings["Alder"]}" checked' in page


def test_a_bench_with_units_and_no_trial_says_what_to_do_first(client: TestClient, store: Engine):
    with session_scope(store) as session:
        add_unit(session, NewUnit(maker="Maker A", model="Model 1"), now=NOW)
    page = client.get("/compare").text
    assert "There are no trials yet, so there is nothing to compare." in page
    assert 'href="/trials/add"' in page


def test_an_empty_bench_says_what_to_do_first(client: TestClient):
    for address in ("/compare", "/ranking/order", "/ranking/weights"):
        answer = client.get(address)
        assert answer.status_code == 200
        assert 'href="/trials/add">Add a trial' in answer.text


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("setting_id=x", "A setting: found 'x'; enter a whole number."),
        ("unit_id=77&unit_id=78", "There is no unit with a speed setting under the number 77 in this bench."),
        ("setting_id=1&setting_id=999", "There is no speed setting 999 in this bench."),
        ("setting_id=1&setting_id=2&channel=gold", "The channel is 'gold'; choose one of: pm2_5."),
        ("setting_id=1&setting_id=2&room_id=99", "There is no test room 99 with results"),
    ],
)
def test_an_address_that_cannot_be_answered_is_refused_in_words(
    bench: ComparedBench, client: TestClient, query: str, message: str
):
    answer = client.get(f"/compare?{query}")
    assert answer.status_code == 422
    assert message in words_of(answer.text)


def test_the_order_comes_with_its_ranks(bench: ComparedBench, client: TestClient):
    words = words_of(client.get("/ranking/order").text)
    assert "Alder ranks first, ahead of every other. 1 of 3 ranks are certain." in words
    assert "2 to 3" in words
    assert "Birch and Cedar" in words
    assert "cannot be distinguished from zero" in words
    assert "1 row without a clean air delivery rate, so not ranked." in words


def test_the_order_by_power(bench: ComparedBench, client: TestClient):
    words = words_of(client.get("/ranking/order?by=power").text)
    assert "Birch ranks first, in a statistical tie with Cedar." in words


def test_an_order_by_a_quantity_without_interval_is_refused(bench: ComparedBench, client: TestClient):
    answer = client.get("/ranking/order?by=price")
    assert answer.status_code == 422
    assert "choose a quantity with an interval" in words_of(answer.text)


def test_the_bench_offers_no_weights_of_its_own(bench: ComparedBench, client: TestClient):
    page = client.get("/ranking/weights")
    assert "There are no default weights" in words_of(page.text)
    assert "<tbody>" not in page.text


def test_the_order_by_weights_shows_how_it_moves(bench: ComparedBench, client: TestClient):
    page = client.get("/ranking/weights?weight_clean_air_delivery_rate=3&weight_power=1&search=e")
    words = words_of(page.text)
    assert "By your weights, Maker B Alder ranks first, but falls as far as rank 3 when one weight is changed." in words
    assert "75 % of all weights" in words
    assert "Clean air delivery rate set to zero" in words
    assert "Power doubled" in words
    assert 'name="weight_power" type="text" value="1"' in page.text
    assert '<input type="hidden" name="search" value="e">' in page.text
    assert "Maker B Dud: no usable clean air delivery rate and power" in words


@pytest.mark.parametrize(
    ("query", "field", "message"),
    [
        ("weight_sound=loud", "weight_sound", "The weight of sound: found 'loud'; enter a number such as 12.5."),
        ("weight_price=-2", "weight_price", "A weight is -2; it must be from 0 to 100."),
    ],
)
def test_a_weight_that_cannot_be_is_refused_by_its_field(
    bench: ComparedBench, client: TestClient, query: str, field: str, message: str
):
    answer = client.get(f"/ranking/weights?{query}")
    assert answer.status_code == 422
    said = answer.text.split(f'id="{field}-error">')[1].split("</p>")[0]
    assert message in html.unescape(said)


def test_names_are_text_and_never_markup(bench: ComparedBench, store: Engine, client: TestClient):
    with session_scope(store) as session:
        session.get_one(UnitUnderTest, bench.units["Birch"]).model = "<b>Birch</b>"
    for address in (
        compare_address(bench, "Alder", "Birch"),
        "/ranking/order",
        "/ranking/weights?weight_clean_air_delivery_rate=1",
    ):
        page = client.get(address).text
        assert "&lt;b&gt;Birch&lt;/b&gt;" in page
        assert "<b>Birch" not in page


def test_the_ranking_leads_to_these_pages_with_its_filters(bench: ComparedBench, client: TestClient):
    page = client.get("/?search=birch").text
    assert 'href="/ranking/order?search=birch"' in page
    assert 'href="/ranking/weights?search=birch"' in page
    assert 'href="/compare"' in page


def test_long_orders_are_shown_in_parts_and_ranked_as_a_whole(bench: ComparedBench, client: TestClient):
    page = client.get("/ranking/order?limit=2").text
    assert "1 to 2 of 4 rows" in words_of(page)
    assert "2 to 3" in words_of(page)  # Birch, whose rank Cedar on the next part shares
    further = re.search(r'rel="next" href="([^"]+)"', page)
    assert further is not None
    rest = words_of(client.get(html.unescape(further[1])).text)
    assert "3 to 4 of 4 rows" in rest
    assert "Cedar" in rest
    weighted = client.get("/ranking/weights?weight_clean_air_delivery_rate=1&limit=2&offset=2").text
    assert "3 to 3 of 3 rows" in words_of(weighted)


def test_a_bench_with_a_single_setting_leads_to_the_second(client: TestClient, store: Engine, small_bench: SmallBench):
    with session_scope(store) as session:
        run = NewTrial(
            kind="unit running",
            room_id=small_bench.room_id,
            unit_under_test_id=small_bench.unit_id,
            setting_id=small_bench.high_setting_id,
            smoke_source_id=small_bench.smoke_source_id,
        )
        add_trial(session, decay_log(), "run.csv", run, now=NOW)
        session.delete(session.get_one(SpeedSetting, small_bench.low_setting_id))
    page = client.get("/compare").text
    assert "Only one setting of one unit has been recorded, and a comparison needs two" in page
    assert 'href="/trials/add"' in page
    order = client.get("/ranking/order").text
    assert "every pair of neighbouring units differs" not in order
    ranking = client.get("/").text
    assert "Add the missing run" in ranking


def test_what_does_not_clean_and_what_may_make_ozone_is_cautioned_about(
    bench: ComparedBench, client: TestClient, store: Engine
):
    assert "No protection" not in client.get(compare_address(bench, "Alder", "Birch")).text
    words = words_of(client.get(compare_address(bench, "Alder", "Dud")).text)
    assert "Dud: no cleaning was measured. A unit that does not clean measurably does not protect people with" in words
    assert "For medical advice ask a doctor." in words
    assert "can produce ozone" not in words
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.model == "Birch").values(makes_ozone=True))
    words = words_of(client.get(compare_address(bench, "Alder", "Birch")).text)
    assert "Birch: uses a technology that can produce ozone, which irritates the lungs." in words
    assert "ask a doctor before running one near anyone who is ill" in words


def test_the_ranking_says_that_what_does_not_clean_is_no_protection(bench: ComparedBench, client: TestClient):
    words = words_of(client.get("/").text)
    assert "cannot be told apart from an empty room" in words
    assert "A unit that does not clean measurably does not protect people with asthma" in words
    assert "does not protect people with asthma" not in words_of(client.get("/?search=Alder").text)

"""Reading pages (ranking, curves, costs, units): content, errors, and use without script."""

import re
from html import unescape

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, func, insert, select, update

from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import UnitUnderTest
from app.web.templating.headers import CHART_PAGE_POLICY, PAGE_POLICY
from tests.web.page_checks import PICTURE, faults_of, links_of
from tests.web.tried_bench import TriedBench

PAGES = (
    "/",
    "/?setting=every&sort=time_to_clear&units=us",
    "/?search=nothing+like+it",
    "/?max_price=cheap",
    "/curves",
    "/curves?scale=log&levels=share&empty_room=no",
    "/curves?trial=3&trial=5",
    "/curves?trial=x",
    "/costs",
    "/costs?price_per_kwh=0,3&hours_per_day=8&years=10",
    "/costs?years=99",
    "/units",
    "/units?search=lamp",
    "/units/1",
    "/units/2",
    "/units/3",
    "/units/1?channel=pm9",
)


def words_of(html: str) -> str:
    text = re.sub(r"<[^>]+>", " ", html).replace("&nbsp;", " ").replace("\u00a0", " ")
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("address", PAGES)
def test_every_page_is_well_made(tried_bench: TriedBench, client: TestClient, address: str):
    answer = client.get(address)
    assert answer.status_code in (200, 422)
    assert faults_of(answer.text) == []


@pytest.mark.parametrize("address", ["/", "/curves", "/costs", "/units"])
def test_an_empty_bench_says_what_to_do_first(client: TestClient, address: str):
    answer = client.get(address)
    assert answer.status_code == 200
    assert faults_of(answer.text) == []
    assert {"/trials/add", "/units/add"} & set(links_of(answer.text)) or "kilowatt-hour" in answer.text


def test_the_links_of_the_pages_lead_somewhere(tried_bench: TriedBench, client: TestClient):
    links = {
        link for page in ("/", "/curves", "/costs", "/units", "/units/1") for link in links_of(client.get(page).text)
    }
    # pictures are drawn in tests/web/browser/test_every_chart_download.py, in every size that is offered
    inner = sorted({link.split("#")[0] for link in links if link.startswith("/") and not PICTURE.match(link)})
    assert len(inner) > 30
    for link in inner:
        assert client.get(link).status_code == 200, link


@pytest.mark.parametrize("address", ["/", "/curves", "/costs", "/units", "/units/1"])
def test_an_invented_bench_says_so_on_every_page(
    tried_bench: TriedBench, store: Engine, client: TestClient, address: str
):
    assert "Demonstration with invented data" not in client.get(address).text
    with session_scope(store) as session:
        session.execute(update(Bench).values(invented=True, scenario="A made-up <place>."))
    text = client.get(address).text
    assert "Demonstration with invented data" in text
    assert "A made-up &lt;place&gt;." in text


def test_the_ranking_answers_its_question_with_numbers(tried_bench: TriedBench, client: TestClient):
    words = words_of(client.get("/").text)
    assert re.search(
        r"Maker A Model 1 (clears the room fastest|has the highest measured rate): 95 % reduction in [\d.]+ min", words
    )
    assert "1 other cannot be told apart from an empty room." in words
    assert "3 of 3 units" in words
    assert re.search(r"at most [\d.]+", words)


def test_the_ranking_tells_what_a_filter_took_out(tried_bench: TriedBench, client: TestClient):
    words = words_of(client.get("/?max_price=150").text)
    assert "0 of 3 units ; filtered out: 2 without a price in USD; 1 more expensive than 150 USD" in words


def test_the_units_switch_keeps_the_rest_of_the_address(tried_bench: TriedBench, client: TestClient):
    html = client.get("/?sort=price&search=model").text
    assert "/?sort=price&amp;search=model&amp;units=us" in html
    american = words_of(client.get("/?sort=price&search=model&units=us").text)
    assert "cfm" in american
    assert "m³/h ," not in american


def test_cubic_feet_are_those_of_the_foot(tried_bench: TriedBench, client: TestClient):
    """1 m³/h = 0.588577778691 ft³/min, recomputed from the foot of 0.3048 m."""
    metric = float(re.search(r"rate of ([\d.]+) m³/h", words_of(client.get("/").text))[1])  # type: ignore[index]
    american = float(re.search(r"rate of ([\d.]+) cfm", words_of(client.get("/?units=us").text))[1])  # type: ignore[index]
    assert american / metric == pytest.approx(0.588577778691, rel=0.01)


def test_a_wrong_value_keeps_what_was_typed_and_says_what_is_needed(tried_bench: TriedBench, client: TestClient):
    answer = client.get("/?max_price=cheap&max_sound_dba=45")
    assert answer.status_code == 422
    assert 'value="cheap"' in answer.text
    assert 'value="45"' in answer.text
    assert "found &#39;cheap&#39;; enter a number such as 12.5" in answer.text


@pytest.mark.parametrize(
    ("address", "message"),
    [
        ("/?sort=beauty", "The column to sort by is 'beauty'; choose one of"),
        ("/?offset=abc", "found 'abc'; enter a whole number"),
        ("/?units=us&room_area_ft2=-4", "it must be above zero. Correct it."),
        ("/?max_price=-3", "The maximum price is -3 USD; it must be zero or above."),
        ("/?descending=down", "The sort direction is 'down'; choose one of: 0, 1. Correct the URL."),
        ("/?units=furlong", "The unit of measure is 'furlong'; choose one of: metric, us. Correct the URL."),
        ("/ranking/order?units=furlong", "The unit of measure is 'furlong'"),
        ("/ranking/pictures?units=furlong", "The unit of measure is 'furlong'"),
        ("/ranking/weights?units=furlong", "The unit of measure is 'furlong'"),
        ("/units/1?units=furlong", "The unit of measure is 'furlong'"),
        ("/trials/3?channel=pm99", "The channel is 'pm99'; choose one of: pm2_5, pm1, pm10. Correct the URL."),
        ("/trials/3?scale=cubic", "The scale is 'cubic'; choose one of: linear, log. Correct the URL."),
        ("/trials/3?units=furlong", "The unit of measure is 'furlong'"),
        ("/trials/3/marks?channel=pm99", "The channel is 'pm99'; choose one of: pm2_5, pm1, pm10."),
        ("/curves?levels=beauty", "The level unit is 'beauty'; choose one of: share. Correct the URL."),
        ("/curves?empty_room=perhaps", "The curve of the empty room is 'perhaps'; choose one of: yes, no."),
        ("/costs?descending=down", "The sort direction is 'down'; choose one of: 0, 1."),
        ("/compare?unit_id=1&unit_id=2&units=furlong", "The unit of measure is 'furlong'"),
        ("/room?units=furlong", "The unit of measure is 'furlong'"),
    ],
)
def test_what_is_wrong_with_an_address_is_told_though_no_field_shows_it(
    tried_bench: TriedBench, client: TestClient, address: str, message: str
):
    answer = client.get(address)
    assert answer.status_code == 422
    assert message in answer.text.replace("&#39;", "'")


@pytest.mark.parametrize(
    "address", ["/curves?levels=beauty&scale=log", "/curves?scale=cubic", "/costs?descending=down"]
)
def test_the_picture_beside_a_refused_choice_is_still_drawn(tried_bench: TriedBench, client: TestClient, address: str):
    page = client.get(address).text
    figures = [unescape(figure) for figure in re.findall(r'data-figure-url="([^"]+)"', page)]
    assert figures
    assert ("scale=log" in figures[0]) is ("scale=log" in address)
    for figure in figures:
        assert client.get(figure).status_code == 200, figure


def test_units_drawn_that_are_not_there_are_not_called_incomplete(tried_bench: TriedBench, client: TestClient):
    words = words_of(client.get("/costs?unit=77").text)
    assert "No unit is shown: none of the selected units is in the list." in words
    assert "shown, so each cost" not in words


def test_the_reader_s_room_keeps_its_units_in_what_was_left_out(tried_bench: TriedBench, client: TestClient):
    assert "too weak for 2000 m²" in words_of(client.get("/?room_area_m2=2000").text)
    assert "too weak for 2000 ft²" in words_of(client.get("/?units=us&room_area_ft2=2000").text)


def test_curves_of_what_is_not_there_say_why_nothing_is_drawn(tried_bench: TriedBench, client: TestClient):
    assert "curves: the selection has no usable decay. Select" in words_of(client.get("/curves?trial=999").text)


def test_a_sorted_column_is_announced(tried_bench: TriedBench, client: TestClient):
    assert 'aria-sort="descending"' in client.get("/").text
    assert 'aria-sort="ascending"' in client.get("/?sort=price").text


def test_only_pages_with_charts_loosen_the_policy_for_style_attributes(tried_bench: TriedBench, client: TestClient):
    for address in ("/curves", "/costs", "/units/1"):
        answer = client.get(address)
        assert answer.headers["content-security-policy"] == CHART_PAGE_POLICY
        assert "plotly-basic.min.js" in answer.text
    for address in ("/", "/units", "/units/3"):
        answer = client.get(address)
        assert answer.headers["content-security-policy"] == PAGE_POLICY
        assert "plotly-basic.min.js" not in answer.text


def test_the_curves_have_a_table_and_a_picture_without_script(tried_bench: TriedBench, client: TestClient):
    html = client.get("/curves?trial=3&trial=5").text
    assert '<noscript><img src="/charts/decay-overlay.svg?trial=3&amp;trial=5"' in html
    words = words_of(html)
    assert "trial 3" in words
    assert re.search(r"Not cleared before the end of the run: Maker Z Lamp, trial \d+ \(&gt; 1\d\d min\)", words)


def test_costs_without_a_tariff_ask_for_a_price(store: Engine, tried_bench: TriedBench, client: TestClient):
    with session_scope(store) as session:
        session.execute(update(Bench).values(tariff_id=None))
    answer = client.get("/costs")
    assert answer.status_code == 200
    assert "No electricity price is set" in answer.text
    assert faults_of(answer.text) == []
    # 12.5 W for 8,760 h at 0.16 USD/kWh: 17.52 USD; recomputed
    assert "≥ 17.52" in words_of(client.get("/costs?price_per_kwh=0.16").text)


def test_the_unit_page_says_that_a_useless_unit_protects_nobody(tried_bench: TriedBench, client: TestClient):
    words = words_of(client.get("/units/2").text)
    assert "No measurable cleaning" in words
    assert "does not protect people with asthma" in words
    assert "ask a doctor" in words
    assert "does not protect people" not in words_of(client.get("/units/1").text)


def test_the_unit_page_leads_to_trials_and_raw_files(tried_bench: TriedBench, client: TestClient):
    links = links_of(client.get("/units/1").text)
    assert {"/trials/3", "/trials/4", "/api/trials/3/log"} <= set(links)


def test_a_unit_that_is_not_there_has_a_page_saying_so(client: TestClient):
    answer = client.get("/units/99")
    assert answer.status_code == 404
    assert "There is no unit under test 99 in this bench." in answer.text


@pytest.mark.parametrize("address", ["/", "/curves", "/costs", "/units", "/units/1"])
def test_names_are_words_and_never_markup(tried_bench: TriedBench, store: Engine, client: TestClient, address: str):
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.id == 1).values(model="<script>alert(1)</script>"))
    html = client.get(address).text
    assert "<script>alert" not in html
    assert "&lt;script&gt;alert" in html


def test_a_change_is_seen_at_once(tried_bench: TriedBench, store: Engine, client: TestClient):
    assert "Renamed" not in client.get("/").text
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.id == 1).values(model="Renamed"))
    assert "Renamed" in client.get("/").text


def test_every_measured_number_of_the_ranking_has_its_interval(tried_bench: TriedBench, client: TestClient):
    columns = ("clean_air_delivery_rate", "air_changes", "time_to_clear")
    words = words_of(client.get("/?" + "&".join(f"column={name}" for name in columns)).text)
    row = words.split("Model 1 Maker A, high", 1)[1]
    numbers = re.match(r" ([\d.]+) ([\d.]+) to ([\d.]+) ([\d.]+) ([\d.]+) to ([\d.]+) ", row)
    assert numbers, row[:200]
    rate, low, high, changes, low_changes, high_changes = (float(text) for text in numbers.groups())
    assert low < rate < high
    # air changes are the rate over the room of 30 m³, and so are the ends of its interval
    assert (changes, low_changes, high_changes) == pytest.approx((rate / 30, low / 30, high / 30), rel=0.02)
    assert "shown below it in µg/m³" in words


@pytest.mark.parametrize("address", ["/?column=time_to_clear", "/units/1"])
def test_the_level_below_a_time_to_clear_has_its_unit_in_the_head(
    tried_bench: TriedBench, client: TestClient, address: str
):
    assert "Time to clear min, from µg/m³" in words_of(client.get(address).text)


def test_a_time_beyond_the_runs_is_an_estimate_wherever_it_is_shown(
    tried_bench: TriedBench, store: Engine, client: TestClient
):
    reason = "Calculated from the fitted rate: the runs ended after 20 min, before that time."
    takes = r"which takes 95 % of the smoke out of the test room in [\d.]+ min"
    for address in ("/units/1", "/units/1/draft"):
        assert re.search(takes, words_of(client.get(address).text))
    measured = client.get("/tables/ranking.csv").text
    with session_scope(store) as session:
        changed = update(SettingSummary).where(SettingSummary.unit_under_test_id == 1)
        session.execute(changed.values(time_to_clear_min=None, not_cleared_before_min=20.0))
    assert "est. " + reason in words_of(client.get("/").text)
    assert "est. " + reason in words_of(client.get("/units/1").text)
    would = r"which would take 95 % of the smoke out .*, an estimate because the runs ended after 20 min"
    for address in ("/units/1", "/units/1/draft"):
        assert re.search(would, words_of(client.get(address).text))
    assert client.get("/tables/ranking.csv").text.count("estimate") == measured.count("estimate") + 1


def test_trials_of_another_room_are_told_apart_on_the_page_of_a_unit(
    tried_bench: TriedBench, store: Engine, client: TestClient
):
    assert "The results above use only trials in" not in client.get("/units/1").text
    with session_scope(store) as session:
        other = add_room(session, NewRoom(name="Room B", length_m=5, width_m=4, height_m=2.5))
        session.execute(update(Trial).where(Trial.id == 4).values(room_id=other))
    words = words_of(client.get("/units/1").text)
    assert re.search(r"The results above use only trials in Room [AB], not those in Room [AB]\.", words)
    listed = words.split("Trials behind these results")[1]
    assert re.search(r"trial 4 [\d-]+ Room B high", listed)
    assert re.search(r"trial 3 [\d-]+ Room A high", listed)
    answer = words.split("Does it clean?")[0]
    assert re.search(r"out of the test room in [\d.]+ min \([\d.]+ to [\d.]+\)\.", answer)


def test_the_list_of_trials_opens_with_what_was_made(tried_bench: TriedBench, client: TestClient):
    def lead(query: str = "") -> str:
        return client.get(f"/trials{query}").text.split('class="answer">')[1].split("</p>")[0]

    when = client.get("/api/trials/3").json()["started_at"][:10]
    assert lead() == f"6 trials on {when}: 4 runs of 2 units and 2 runs of an empty room."
    client.post("/trials/5/exclude", data={"why": "a door stood open", "who": "Ada"})
    assert lead() == f"6 trials on {when}: 4 runs of 2 units and 2 runs of an empty room; 1 is excluded."
    assert lead("?kind=empty+room") == f"2 trials on {when}: 2 runs of an empty room."
    assert lead("?unit_under_test_id=3") == "No trials match the filters."
    assert lead("?kind=beauty").startswith("6 trials")  # reported as invalid, and all are shown


def test_a_unit_with_many_trials_lists_the_newest_and_links_to_all(
    tried_bench: TriedBench, store: Engine, client: TestClient
):
    assert "All trials, newest first; values" in client.get("/units/1").text
    with session_scope(store) as session:
        [one] = session.execute(select(Trial.__table__).where(Trial.id == 3)).mappings()
        session.execute(insert(Trial), [{**one, "id": 1000 + number} for number in range(60)])
        there = session.scalar(select(func.count()).where(Trial.unit_under_test_id == 1))
    page = client.get("/units/1").text
    assert f"The newest 50 of {there} trials; values with standard uncertainty." in page
    assert f'<a href="/trials?unit_under_test_id=1">All {there} trials of this unit</a>' in page
    assert page.count('<th scope="row" class="tight"><a href="/trials/') == 50
    assert f"{there} trials" in client.get("/trials?unit_under_test_id=1").text

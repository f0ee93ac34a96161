import re
from html import unescape

import pytest
from sqlalchemy import update

from app.services.units.consumables import add_consumable, add_consumable_price, say_none_needed
from app.services.units.definitions import NewConsumable, NewPrice
from app.storage.engine import session_scope
from app.storage.models.bench_measurements import PowerMeasurement
from tests.sample_data.measured_facts import (
    DAY,
    add_power,
    add_price,
    add_rate,
    add_tariff,
    add_unit_with_setting,
)


@pytest.fixture
def bench(store, small_bench):
    """Model 1: 199 USD, 20 W, a filter of 10 USD a year; Box: 80 USD, 60 W, no filter: paid back after some years."""
    ids = small_bench
    with session_scope(store) as session:
        add_tariff(session, 0.20)
        add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 400.0)
        add_power(session, ids.unit_id, ids.high_setting_id, 20.0, 0.1)
        filter_id = add_consumable(session, ids.unit_id, NewConsumable(name="filter", life_months=12))
        add_consumable_price(session, filter_id, NewPrice(amount=10.0, currency="USD", seen_on=DAY, source="shop"))
        box, setting = add_unit_with_setting(session, "Box")
        add_power(session, box, setting, 60.0, 0.1)
        add_price(session, box, 80.0)
        say_none_needed(session, box)
    return ids.unit_id, box


def test_the_pay_back_of_two_units_is_told(client, bench):
    page = client.get("/costs")
    assert page.status_code == 200
    assert "Maker B Box and Maker A Model 1: Maker A Model 1 costs less in total after 1.8 years" in page.text
    assert "The ranking of Maker B Box and Maker A Model 1 changes with" in page.text
    assert 'data-figure-url="/figures/cost-sensitivity.json' in page.text


def test_the_pair_can_be_chosen(client, bench):
    model, box = bench
    page = client.get(f"/costs?compare={model}&compare={box}&unit={model}&unit={box}")
    assert "Maker A Model 1 and Maker B Box: Maker A Model 1 costs less in total after" in page.text
    refused = client.get(f"/costs?compare={box}&compare={box}")
    assert refused.status_code == 422
    assert "1 units were selected for the break-even. Select" in refused.text


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ("years=0", "Found 0 years; enter a value from 1 to 30."),
        ("price_per_kwh=1e300", "The price per kilowatt-hour is 1e+300; enter at most 1e+06."),
    ],
)
def test_an_assumption_that_cannot_be_is_refused_and_not_passed_over(client, bench, asked: str, message: str):
    page = client.get(f"/costs?{asked}")
    assert page.status_code == 422
    assert message in page.text


def test_clean_air_has_its_price_or_the_reason_why_not(client, bench):
    page = client.get("/costs").text
    assert "1,000\u00a0m³ of clean air" in page
    assert "0.0129" in page  # 45.04 USD for 3.504 million m³
    assert "No clean air rate that can be distinguished from zero at this setting." in page


def test_tariffs_stand_with_how_they_are_known(client, bench):
    page = client.get("/costs").text
    assert "Tariffs by region and date" in page
    assert "<td>own bill</td>" in page


def test_unplugging_leaves_standby_out(client, bench):
    with_standby = client.get("/costs?hours_per_day=12").text
    assert "The standby power was not measured" in with_standby
    assert "The standby power was not measured" not in client.get("/costs?hours_per_day=12&unplugged=1").text


def test_the_sensitivity_chart_can_be_taken(client, bench):
    csv = client.get("/charts/cost-sensitivity.csv").text
    assert "electricity, 0.1 to 0.4 USD/kWh" in csv
    figure = client.get("/figures/cost-sensitivity.json").json()
    assert "changes with" in figure["meta"]["alt_text"]
    assert client.get(f"/charts/cost-sensitivity.svg?unit={bench[0]}").status_code == 200


def test_an_empty_bench_says_once_what_to_do_first(client):
    page = client.get("/costs").text
    assert "There are no units yet" in page
    assert "No electricity price" not in page


def test_a_bench_without_a_price_asks_for_one_once(client, small_bench):
    page = client.get("/costs")
    assert page.status_code == 200
    assert page.text.count("No electricity price is set") == 1
    assert page.text.count(">Tariffs<") == 1
    refused = client.get("/costs?price_per_kwh=much")
    assert refused.status_code == 422
    assert "found &#39;much&#39;; enter a number such as 12.5" in refused.text


def test_a_cost_with_a_missing_price_never_looks_complete(client, store, bench):
    """The cheapest to buy has a filter without a price: nobody knows what it costs in all."""
    with session_scope(store) as session:
        unit, setting = add_unit_with_setting(session, "Gap")
        add_power(session, unit, setting, 1.0)
        add_power(session, unit, None, 0.0)
        add_price(session, unit, 5.0)
        add_consumable(session, unit, NewConsumable(name="filter", life_months=6.0))
    page = client.get("/costs").text
    row = next(part.split("</tr>")[0] for part in page.split("<tr>") if ">Gap</a>" in part)
    assert row.count("≥ ") >= 2  # the year and the years
    assert "its price is not recorded, so its cost is not included" in row
    answer = page.split('class="answer">')[1].split("</p>")[0]
    assert "Gap" not in answer
    assert "For 1 unit, a price or power is missing, so the cost is a lower bound." in answer
    chosen = re.findall(r'<option value="(\d+)" selected>', page.split('id="compare-first"')[1].split("</div>")[0])
    assert str(unit) not in chosen
    moved = page.split("One assumption varied at a time")[1].split("</table>")[0]
    cheapest = re.findall(r"<td>([^<]+)</td>", moved)
    assert cheapest
    assert not any("Gap" in name for name in cheapest)
    forced = client.get(f"/costs?compare={unit}&compare={bench[1]}").text
    assert "applies only to the known part of their costs" in forced


def test_one_running_cost_reads_alike_wherever_it_stands(store, client, bench):
    """250 ± 30 W for 8,760 h at 0.20 USD/kWh are 438 ± 52.6 USD; with the filter, 10 ± 2.5, that is 448 ± 52.6 and
    from 345 to 551; recomputed. Such an uncertainty supports tens: 450 (340 to 550), here and there."""
    model, _ = bench
    with session_scope(store) as session:
        of_model = PowerMeasurement.unit_under_test_id == model
        session.execute(update(PowerMeasurement).where(of_model).values(power_w=250.0, uncertainty_w=30.0))
    costs = client.get("/costs").text
    lead = unescape(costs.split('class="answer">')[1].split("</p>")[0])
    assert "Maker A Model 1 most, 450\u00a0USD." in lead
    assert client.get("/figures/cost-bars.json").json()["meta"]["alt_text"] == lead
    for page in (costs, client.get("/").text):
        assert '>450<span class="below">340 to 550</span></td>' in page
    assert "450\u00a0USD (340 to 550) per year" in unescape(client.get(f"/units/{model}").text)
    assert "450\u00a0USD (340 to 550) per year" in unescape(client.get(f"/units/{model}/draft").text)
    assert ",450,340,550," in client.get("/tables/running-cost.csv").text
    assert ",450,340,550," in client.get("/tables/ranking.csv").text

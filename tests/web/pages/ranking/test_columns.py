import csv
import re

import pytest

from app.figures.tables.extra_cells import EXTRA_EXPORTS
from app.services.measurements.definitions import NewOzoneTest, NewRating
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.ratings import add_rating
from app.services.snapshot.choices import EXTRA_COLUMNS, SORT_KEYS
from app.services.units.consumables import say_none_needed
from app.storage.engine import session_scope
from app.web.pages.ranking.columns import EXTRA as EXTRA_CELLS
from app.web.pages.ranking.columns import USUAL
from tests.sample_data.measured_facts import DAY, add_power, add_rate, add_tariff, add_unit_with_setting

EXTRA = "column=clean_air_delivery_rate&column=clean_air_per_watt&column=certified_smoke&column=ozone"


@pytest.fixture
def bench(store, small_bench):
    ids = small_bench
    with session_scope(store) as session:
        add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 300.0)
        add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
        add_rating(session, ids.unit_id, NewRating(aerosol="smoke", value=180.0, source="x", seen_on=DAY))
        add_ozone_test(session, ids.unit_id, NewOzoneTest(ozone_ppb=3.0, tested_on=DAY, below_detection=True))
    return ids


def heads(page):
    return page.text.split("<thead>")[1].split("</thead>")[0]


def test_the_usual_columns_stand_there_unasked(client, bench):
    page = client.get("/")
    assert "Running cost" in heads(page)
    assert "Certified smoke rate" not in heads(page)
    assert "set-cookie" not in page.headers


def test_picked_columns_are_shown_and_no_others(client, bench):
    page = client.get(f"/?{EXTRA}")
    assert "Clean air per watt at test power" in heads(page)
    assert "(m³/h)/W" in heads(page)
    assert "Running cost" not in heads(page)
    assert ">306<" in page.text  # 180 ft³/min in m³/h
    assert "below detection" in page.text


def test_the_browser_remembers_them_and_forgets_when_asked(client, bench):
    first = client.get(f"/?{EXTRA}")
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Certified smoke rate" in heads(client.get("/"))
    usual = client.get("/?column=certified_smoke&column=usual")
    assert "Running cost" in heads(usual)
    assert "Certified smoke rate" not in heads(client.get("/"))


def test_the_address_goes_before_what_is_remembered(client, bench):
    client.get(f"/?{EXTRA}")
    page = client.get("/?column=sound")
    assert "Sound" in heads(page)
    assert "Certified" not in heads(page)


def test_a_column_group_folds_away_and_comes_back(client, bench):
    page = client.get("/?sort=price")
    fold = re.search(r'<a href="([^"]*fold=cost[^"]*)"', page.text).group(1).replace("&amp;", "&")
    folded = client.get(fold)
    assert "Running cost" in heads(page)
    assert "Running cost" not in heads(folded)
    assert "Price" not in heads(folded)
    assert "Sound" in heads(folded)
    back = re.search(r'<a href="([^"]*)" title="Show these columns"', folded.text).group(1).replace("&amp;", "&")
    assert back == "/?sort=price"
    assert '<input type="hidden" name="fold" value="cost">' in folded.text  # kept when a filter is applied


def test_unknown_and_forged_columns_are_left_out(client, bench):
    assert "Running cost" in heads(client.get("/?column=beauty"))
    client.cookies.set("ranking_columns", "<b>.sound")
    page = client.get("/")
    assert page.status_code == 200
    assert "Sound" in heads(page)


def test_the_rest_of_the_view_is_handed_on(client, bench):
    page = client.get("/?units=us&sort=price").text
    form = page.split('aria-label="Columns"')[1].split("</form>")[0]
    assert '<input type="hidden" name="units" value="us">' in form
    assert '<input type="hidden" name="sort" value="price">' in form


def test_flow_columns_follow_the_units_of_the_reader(client, bench):
    page = client.get(f"/?{EXTRA}&units=us")
    assert "(cfm)/W" in heads(page)
    assert ">180<" in page.text


def order_of(page):
    """Models in the order of the table's lines."""
    return re.findall(r">(Model [0-9])</a>", page.text.split("<tbody")[1].split("</tbody>")[0])


@pytest.fixture
def two_units(store, bench):
    """A second unit that beats the first in some of the further columns, and a third of which nothing is known."""
    with session_scope(store) as session:
        unit, setting = add_unit_with_setting(session, "Model 2")
        add_unit_with_setting(session, "Model 3")
        add_rate(session, unit, setting, bench.room_id, 200.0)
        add_power(session, unit, setting, 20.0)
        for aerosol in ("smoke", "dust"):
            add_rating(session, unit, NewRating(aerosol=aerosol, value=120.0, source="x", seen_on=DAY))
        add_ozone_test(session, unit, NewOzoneTest(ozone_ppb=12.0, tested_on=DAY))
        for one in (bench.unit_id, unit):
            add_power(session, one, None, 0.0)
            say_none_needed(session, one)
        dust = NewRating(aerosol="dust", value=170.0, source="x", seen_on=DAY)
        add_rating(session, bench.unit_id, dust)
        add_tariff(session)


@pytest.mark.parametrize(
    ("key", "first"),
    [
        ("clean_air_per_watt", "Model 2"),  # 10 against 6 (m³/h)/W
        ("clean_air_cost", "Model 2"),  # the fewer watts for the same air
        ("certified_smoke", "Model 1"),  # 180 against 120 ft³/min
        ("federal_energy_factor", "Model 2"),  # 120/20 against 175/50
        ("ozone", "Model 1"),  # less than 3 ppb against 12
    ],
)
def test_every_further_column_sorts_the_page_both_ways_with_the_unknown_last(client, two_units, key, first):
    page = client.get(f"/?column={key}")
    link = re.search(rf'href="([^"]*sort={key}[^"]*)"', heads(page)).group(1).replace("&amp;", "&")
    other = {"Model 1": "Model 2", "Model 2": "Model 1"}[first]
    sorted_page = client.get(link)
    assert order_of(sorted_page) == [first, other, "Model 3"]
    assert f"Units by {EXTRA_COLUMNS[key][0].lower()}" in sorted_page.text.replace("&nbsp;", " ")
    turned = re.search(rf'href="([^"]*sort={key}[^"]*)"', heads(sorted_page)).group(1).replace("&amp;", "&")
    assert order_of(client.get(turned)) == [other, first, "Model 3"]


def test_a_taken_table_holds_the_columns_of_the_page_remembered_ones_too(client, two_units):
    client.get(f"/?{EXTRA}&column=federal_energy_factor&column=clean_air_cost")
    page = client.get("/")
    link = re.search(r'href="(/tables/ranking\.csv[^"]*)"', page.text).group(1).replace("&amp;", "&")
    rows = list(csv.DictReader(client.get(link).text.splitlines()))
    assert [row["unit"] for row in rows] == ["Maker A Model 1", "Maker B Model 2", "Maker B Model 3"]
    assert rows[1]["certified_smoke_m3_per_h"] == "204"  # 120 ft³/min
    assert (rows[1]["ozone_ppb"], rows[1]["ozone_ppb_bound"]) == ("12", "")
    assert (rows[0]["ozone_ppb"], rows[0]["ozone_ppb_bound"]) == ("3", "at most")
    assert (rows[1]["federal_energy_factor_cfm_per_w"], rows[1]["federal_energy_factor_cfm_per_w_bound"]) == (
        "6.00",
        "unverified",
    )
    assert float(rows[1]["clean_air_per_watt_m3_per_h_per_w"]) == pytest.approx(10.0)
    assert rows[2]["clean_air_per_watt_m3_per_h_per_w"] == ""
    assert "running_cost_eur_per_year" not in rows[0]


def test_further_columns_are_in_every_format_and_in_us_units(client, two_units):
    query = "column=certified_smoke&column=clean_air_per_watt&units=us"
    table = client.get(f"/tables/ranking.md?{query}").text
    assert "Certified smoke rate \\[cfm\\]" in table
    assert "| 120 |" in table
    html = client.get(f"/tables/ranking.html?{query}").text
    assert "Clean air per watt at test power [(cfm)/W]" in html
    assert "Power [W]" not in html


def test_every_column_that_can_be_picked_can_be_taken_and_sorted_by():
    assert tuple(EXTRA_COLUMNS) == tuple(EXTRA_CELLS) == tuple(EXTRA_EXPORTS)
    assert set(USUAL) | set(EXTRA_CELLS) <= set(SORT_KEYS)


def test_the_api_has_the_further_columns_sorts_by_them_and_takes_the_page_s_own_address(client, two_units):
    page = client.get("/?column=ozone&column=clean_air_per_watt&sort=clean_air_per_watt")
    link = re.search(r'href="(/api/ranking\?[^"]*)"', page.text).group(1).replace("&amp;", "&")
    answer = client.get(link)
    assert answer.status_code == 200, answer.text
    lines = {line["model"]: line["further"] for line in answer.json()["ranking"]}
    assert list(lines) == ["Model 2", "Model 1", "Model 3"]
    assert lines["Model 2"]["clean_air_per_watt_m3_per_h_per_w"]["value"] == pytest.approx(10.0)
    assert set(lines["Model 2"]["cost_of_1000_m3_of_clean_air"]) == {"value", "uncertainty", "low_95", "high_95"}
    assert lines["Model 2"]["certified_smoke"]["rate_cfm"] == pytest.approx(120.0)
    assert lines["Model 2"]["federal"]["integrated_energy_factor_cfm_per_w"] == pytest.approx(6.0)
    assert any("from memory" in words for words in lines["Model 2"]["federal"]["unverified"])
    assert (lines["Model 1"]["ozone"]["ozone_ppb"], lines["Model 1"]["ozone"]["less_than_ppb"]) == (None, 3.0)
    unknown = lines["Model 3"]
    assert unknown["clean_air_per_watt_m3_per_h_per_w"] is None
    assert unknown["why_no_clean_air_per_watt"].startswith("No clean air rate")
    assert unknown["certified_smoke"]["rate_m3_per_h"] is None
    assert unknown["certified_smoke"]["why_not"].startswith("No certified smoke rate")
    assert unknown["ozone"]["words"].startswith("Ozone: not measured.")


def test_a_cost_of_which_nothing_is_known_is_a_dash_with_its_reason(client, bench, store):
    """Never running and standing by unmeasured: 0 would read as free."""
    with session_scope(store) as session:
        add_tariff(session)
    page = client.get("/?hours_per_day=0&column=running_cost").text
    row = page.split("<tbody")[1].split("</tr>")[0]
    assert "≥" not in row
    assert 'class="missing"' in row
    assert "The standby power was not measured, so 8,760 h of standby are not included." in row
    table = client.get("/tables/ranking.csv?hours_per_day=0&column=running_cost").text.splitlines()
    assert table[1].split(",")[2:6] == ["", "", "", ""]

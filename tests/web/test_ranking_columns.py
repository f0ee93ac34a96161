import pytest

from app.services.ozone_tests import add_ozone_test
from app.services.ratings import NewRating, add_rating
from app.storage.engine import session_scope
from tests.services.measured_facts import DAY, add_power, add_rate

EXTRA = "column=clean_air_delivery_rate&column=clean_air_per_watt&column=certified_smoke&column=ozone"


@pytest.fixture
def bench(store, small_bench):
    ids = small_bench
    with session_scope(store) as session:
        add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 300.0)
        add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
        add_rating(session, ids.unit_id, NewRating(aerosol="smoke", value=180.0, source="x", seen_on=DAY))
        add_ozone_test(session, ids.unit_id, 3.0, DAY, below_detection=True)
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

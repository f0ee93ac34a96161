"""The preview of a log gives its verdict first, and asks when the unit was switched on beside the first chart."""

import re
from collections.abc import Callable

from fastapi.testclient import TestClient

from tests.web.pages.adding_a_trial.trial_forms import upload

MakeLog = Callable[..., bytes]


def words_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).replace("\xa0", " ").replace("&nbsp;", " ").split())


def test_the_field_stands_beside_the_chart_with_the_found_moment_and_its_uncertainty(
    client: TestClient, make_log: MakeLog
):
    """The log begins at 09:00:00 UTC, and the level falls from 15 min on."""
    page = client.get(upload(client, make_log(), timezone="UTC")).text
    field = page.split("figure.json?")[1].split("<h2>")[0]
    assert "Switched on at" in words_of(field)
    assert page.count('name="unit_on"') == 1
    hint = re.search(
        r"Detected at ([\d.]+) ± ([\d.]+) min \((09:1\d:\d\d)\), used while the field is empty", words_of(field)
    )
    assert hint is not None
    assert abs(float(hint[1]) - 15) < 3 * float(hint[2])
    assert 'name="unit_on" type="text" value=""' in field  # a mark counts as exact, what was found does not


def test_a_moment_that_was_entered_is_used_as_exact(client: TestClient, make_log: MakeLog):
    address = upload(client, make_log(), timezone="UTC")
    page = client.get(address, params={"unit_on": "09:16:30", "kind": "unit running"}).text
    assert "As entered; it counts as exact." in words_of(page)
    assert 'value="09:16:30"' in page
    empty = client.get(address, params={"kind": "empty room"}).text
    assert "Decay starts at" in words_of(empty.split("figure.json?")[1].split("<h2>")[0])


def test_the_verdict_comes_before_any_number(client: TestClient, make_log: MakeLog):
    good = client.get(upload(client, make_log())).text.split("</h1>")[1]
    assert re.match(r'\s*<div [^>]*data-live>\s*<div class="verdict verdict-(usable|check)">', good)
    short = client.get(upload(client, make_log(minutes=2.3, before_min=0.0))).text.split("</h1>")[1]
    assert '<div class="verdict verdict-unusable">' in short.split('class="answer"')[0]
    assert "Repeat the run" in short.split('class="answer"')[0]
    table = short.split("Decay by channel</caption>")[1].split("</table>")[0]
    rows = [re.findall(r'<td class="number">(.*?)</td>', row) for row in table.split("<tr>")[2:]]
    assert len(rows) == table.count(">unusable; ") == 3
    assert {shown for _start_level, *results in rows for shown in results} == {"–"}

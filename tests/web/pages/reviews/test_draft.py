"""The draft review over HTTP: built from facts, with all edits kept, and a verdict that becomes outdated."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.units.definitions import NewPrice
from app.services.units.prices import add_price
from app.storage.engine import session_scope
from tests.conftest import NOW
from tests.web.tried_bench import TriedBench


@pytest.fixture(autouse=True)
def _bench(tried_bench: TriedBench) -> None:
    """A strong unit of trials 3 and 4, a useless one of trials 5 and 6, one never tried."""


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", html)).replace("&#39;", "'").replace("&#34;", '"')


def test_the_draft_answers_every_question_from_what_is_stored(client: TestClient):
    page = client.get("/units/1/draft")
    assert page.status_code == 200
    words = text_of(page.text)
    for heading in (
        "Specifications",
        "How it was tested",
        "Does it clean?",
        "How loud is it?",
        "Strengths",
        "Disclosure",
    ):
        assert heading in words
    assert "Room A, 30.0" in words
    assert "2 with the unit: trials 3, 4" in words
    assert "2 without it: trials 1, 2" in words
    assert "The source of the unit is not recorded; record it before publishing." in words


def test_numbers_on_cleaning_lead_to_their_trials(client: TestClient):
    section = client.get("/units/1/draft").text.split('id="cleaning"')[1].split("</section>")[0]
    rates = re.findall(r'<a href="(/trials/\d+)">[^<]*m³/h[^<]*</a>', section)
    assert rates == ["/trials/4"]
    for address in set(re.findall(r'href="(/trials/\d+)"', section)):
        assert client.get(address).status_code == 200
    assert "m³/h" not in re.sub(r"<a [^>]*>.*?</a>", "", section)


@pytest.mark.parametrize("unit_id", [1, 2, 3])
def test_every_number_leads_to_a_page_that_answers(client: TestClient, unit_id: int):
    draft = (
        client.get(f"/units/{unit_id}/draft")
        .text.split('id="cleaning">')[1]
        .split('<section aria-labelledby="verdict-heading"')[0]
    )
    shown = re.sub(
        r"<thead.*?</thead>|<details.*?</details>|<form.*?</form>|<p class=\"quiet\">Rule:.*?</p>",
        "",
        draft,
        flags=re.DOTALL,
    )
    assert "<a " not in "".join(re.findall("<thead.*?</thead>", draft, flags=re.DOTALL)), "heads name what is measured"
    words = re.sub(r"“[^”]*”|PM2\.5|Model \d", "", text_of(re.sub(r"<a [^>]*>.*?</a>", "", shown)))
    assert re.findall(r"\d[\d.,]*", words) == []
    addresses = set(re.findall(r'href="([^"]+)"', shown))
    assert addresses
    for address in addresses:
        assert (address, client.get(address.replace("&amp;", "&")).status_code) == (address, 200)


def test_a_unit_that_does_nothing_is_told_so_and_for_nobody(client: TestClient):
    words = text_of(client.get("/units/2/draft").text)
    assert "No measurable cleaning" in words
    assert "Nobody who wants to remove smoke: no cleaning was measurable." in words
    assert " is stronger" in words
    assert "No air cleaner protects people with asthma" in words


def test_a_unit_never_tried_has_a_draft_that_says_so(client: TestClient):
    words = text_of(client.get("/units/3/draft").text)
    assert "There is no usable trial yet." in words
    assert "Not known until it is tested." in words


def test_an_edit_of_a_weakness_is_kept_with_the_one_before(client: TestClient):
    for words in ("It does nothing to smoke.", "It does nothing that we could measure."):
        sent = {"key": "no_measurable_cleaning", "kind": "weakness", "words": words, "who": "Ada", "why": "plainer"}
        answer = client.post("/units/2/draft/points", data=sent)
        assert (answer.status_code, answer.headers["location"]) == (
            303,
            "/units/2/draft#point-no_measurable_cleaning",
        )
    page = text_of(client.get("/units/2/draft").text)
    assert "It does nothing that we could measure. (evidence)" in page
    assert "Ada, plainer: It does nothing to smoke." in page
    assert "edited, version 2" in page
    assert "It does nothing that we could measure." in client.get("/units/2/draft.md?links=no").text


def test_a_point_of_one_s_own_can_be_added_and_left_out(client: TestClient):
    client.post("/units/1/draft/points", data={"key": "", "kind": "strength", "words": "A long <b>cord</b>."})
    assert "A long &lt;b&gt;cord&lt;/b&gt;." in client.get("/units/1/draft").text
    assert "A long &lt;b&gt;cord" in client.get("/units/1/draft.html").text
    sent = {"key": "own-1", "kind": "strength", "words": "A long cord.", "state": "left out"}
    client.post("/units/1/draft/points", data=sent)
    assert "A long cord." not in client.get("/units/1/draft.md").text
    assert "Excluded: A long cord." in text_of(client.get("/units/1/draft").text)


@pytest.mark.parametrize(
    ("path", "sent", "message"),
    [
        ("points", {"key": "", "kind": "strength", "words": ""}, "The point is empty"),
        ("points", {"key": "beauty", "kind": "strength", "words": "Nice."}, "There is no point 'beauty'. Use"),
        ("points", {"key": "", "kind": "virtue", "words": "Nice."}, "choose one of: strength, weakness."),
        ("verdict", {"verdict": "", "state": "draft"}, "The verdict is empty"),
        ("verdict", {"verdict": "Fine.", "state": "done"}, "choose one of: draft, published."),
    ],
)
def test_what_cannot_be_is_refused_and_what_was_typed_stays(
    client: TestClient, path: str, sent: dict[str, str], message: str
):
    answer = client.post(f"/units/1/draft/{path}", data=sent)
    assert answer.status_code == 422
    assert message in text_of(answer.text)
    typed = sent.get("words") or sent.get("verdict") or ""
    if sent.get("key") != "beauty":
        assert f">{typed}</textarea>" in answer.text
    page = client.get("/units/1/draft").text
    assert "No verdict yet." in page
    assert "Added by the reviewer." not in page


def test_a_published_verdict_ages_when_a_number_moves(client: TestClient, store: Engine):
    saved = client.post("/units/1/draft/verdict", data={"verdict": "Strong.", "state": "published", "who": "Ada"})
    assert saved.status_code == 303
    assert "may be out of date" not in client.get("/units/1").text
    assert "may be out of date" not in client.get("/units").text
    with session_scope(store) as session:
        add_price(
            session, 1, NewPrice(amount=249.0, currency="USD", seen_on=NOW.date().replace(month=5), source="price list")
        )
    for path in ("/units/1", "/units/1/draft"):
        page = text_of(client.get(path).text)
        assert "The published text may be out of date" in page
        assert "Price: was 199.00 USD, is 249.00 USD." in page
    assert "text may be out of date" in client.get("/units").text
    client.post("/units/1/draft/verdict", data={"verdict": "Strong, and dearer.", "state": "published"})
    assert "may be out of date" not in client.get("/units/1").text
    page = text_of(client.get("/units/1/draft").text)
    assert "Version 1, published" in page
    assert "Version 2, published" in page


def test_a_verdict_can_be_withdrawn_and_stays_in_the_history(client: TestClient):
    client.post("/units/1/draft/verdict", data={"verdict": "Strong.", "state": "draft"})
    assert "Withdraw published version" not in client.get("/units/1/draft").text
    client.post("/units/1/draft/verdict", data={"verdict": "Strong!", "state": "published"})
    assert "Withdraw published version 2" in client.get("/units/1/draft").text
    refused = client.post("/units/1/draft/verdict/withdraw", data={"withdraw_why": " "})
    assert refused.status_code == 422
    assert "The reason for withdrawing the verdict is empty" in text_of(refused.text)
    sent = {"withdraw_why": "It was of <b>another</b> unit.", "who": "Ada"}
    assert client.post("/units/1/draft/verdict/withdraw", data=sent).status_code == 303
    page = client.get("/units/1/draft").text
    assert "Withdraw published version" not in page
    assert "It was of &lt;b&gt;another&lt;/b&gt; unit." in page
    assert re.search(r"Version 2, published, [^<]*; withdrawn \d{4}-\d\d-\d\d \d\d:\d\d UTC, Ada", page)
    assert "Strong!" not in client.get("/units/1/draft.md").text
    changes = text_of(client.get("/changes?unit=1").text)
    assert "verdict was withdrawn" in changes


def test_the_files_hold_the_verdict_and_lead_back_to_the_bench(client: TestClient):
    client.post("/units/1/draft/verdict", data={"verdict": "Strong.", "state": "draft"})
    taken = client.get("/units/1/draft.html")
    assert taken.headers["content-disposition"] == 'attachment; filename="draft-of-unit-1.html"'
    assert 'href="http://127.0.0.1/trials/4"' in taken.text
    assert "<h2>Verdict</h2>\n<p>Strong.</p>" in taken.text
    assert "http" not in client.get("/units/1/draft.html?links=no").text
    unchanged = client.get("/units/1/draft.html", headers={"If-None-Match": taken.headers["etag"]})
    assert unchanged.status_code == 304


def test_a_unit_that_there_is_not_has_no_draft(client: TestClient):
    assert client.get("/units/99/draft").status_code == 404
    assert client.post("/units/99/draft/verdict", data={"verdict": "x"}).status_code == 404

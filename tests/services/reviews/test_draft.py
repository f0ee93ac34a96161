"""The draft as a whole: no number in it stands without the page that it comes from."""

import re

import pytest
from sqlalchemy.orm import Session

from app.figures.articles.draft_text import draft_html, draft_markdown
from app.services.measurements.claims import add_claim
from app.services.measurements.definitions import NewClaim, NewOzoneTest, NewPowerMeasurement
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.power_levels import add_power_measurement
from app.services.reviews.draft import review_draft
from app.services.reviews.points import PointEdit, save_point
from app.services.reviews.wording import Draft, DraftSection, Span, Spans, join_spans, link_all_numbers, plain
from app.services.units.attachments.attach import Evidence, attach
from app.services.units.attachments.definitions import NewAttachment
from tests.sample_data.measured_facts import DAY, add_power
from tests.sample_data.photos import photo
from tests.sample_data.reviewed_bench import ReviewedBench, fill


@pytest.fixture
def bench(session: Session) -> ReviewedBench:
    return fill(session)


def all_words(draft: Draft) -> list[tuple[str, Spans]]:
    return [(section.key, words) for section in draft.sections for words in words_of(section)]


def words_of(section: DraftSection) -> list[Spans]:
    facts = [words for _, words in section.facts]
    return [*section.paragraphs, *facts, *(point.words for point in section.points), *section.items]


def without_address(draft: Draft) -> list[tuple[str, str]]:
    """Spans that hold a figure and lead nowhere; the channel's name and the quoted names of settings are no numbers."""
    bare = []
    for key, words in all_words(draft):
        for span in words:
            text = re.sub("PM2\\.5|“[^”]*”", "", span.text)
            if not span.address and re.search(r"\d", text):
                bare.append((key, span.text))
    return bare


def test_every_number_of_every_draft_leads_somewhere(session: Session, bench: ReviewedBench):
    add_power(session, bench.units["Fir"], None, 4.0, 0.1)
    add_ozone_test(session, bench.units["Fir"], NewOzoneTest(ozone_ppb=62.0, tested_on=DAY))
    claim = NewClaim(
        quantity="clean_air_delivery_rate", wording="260 m³ an hour", value=260.0, unit_symbol="m³/h", seen_on=DAY
    )
    add_claim(session, bench.units["Fir"], claim)
    numbers = 0
    for model, unit_id in bench.units.items():
        draft = review_draft(session, unit_id)
        assert (model, without_address(draft)) == (model, [])
        numbers += sum(bool(span.address) for _, words in all_words(draft) for span in words)
    assert numbers > 100


def test_a_place_leads_to_the_list_it_was_counted_on(session: Session, bench: ReviewedBench):
    words = all_words(review_draft(session, bench.units["Fir"]))
    places = [(span.text, span.address) for _, line in words for span in line if span.text.startswith("rank ")]
    assert dict(places)["rank 1 of 8"] == "/ranking/order"
    by_list = {address for text, address in places if text.startswith("rank ") and " units" in text}
    assert by_list == {"/?sort=clean_air_delivery_rate", "/?sort=power", "/?sort=price", "/?sort=sound"}


def test_a_number_that_a_person_wrote_leads_to_its_evidence_or_to_its_own_history(
    session: Session, bench: ReviewedBench
):
    fir = bench.units["Fir"]
    save_point(
        session,
        fir,
        PointEdit(key="clean_air", kind="strength", words="It clears 252 of these an hour."),
        why="plainer",
    )
    save_point(session, fir, PointEdit(kind="strength", words="Its cord is 3 m long."))
    points = {point.key: point for section in review_draft(session, fir).sections for point in section.points}
    edited = {span.text: span.address for span in points["clean_air"].words}
    assert edited["252"] == edited["evidence"] == "/?sort=clean_air_delivery_rate"
    assert {span.text: span.address for span in points["own-1"].words}["3"] == f"/units/{fir}/draft#point-own-1"


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("PM2.5 of the A-300 at “4” costs 1,200 USD.", ["1,200"]),
        ("Seen on 2025-09-01 at \u22122.5 K.", ["2025-09-01", "\u22122.5"]),
        ("“Cleans 260 m³” in 5.", ["260", "5"]),
        ("ISO3746 and 12h", []),
    ],
)
def test_names_are_no_numbers(text: str, numbers: list[str]):
    words = link_all_numbers(join_spans(text), "/there")
    assert [span.text for span in words if span.address] == numbers
    assert plain(words) == text


def test_a_number_with_an_address_of_its_own_keeps_it():
    assert link_all_numbers(join_spans(Span("9 m²", "/trials/1"), " of 10"), "/x") == (
        Span("9 m²", "/trials/1"),
        Span(" of "),
        Span("10", "/x"),
    )


def test_chosen_photos_stand_in_their_sections(session: Session, bench: ReviewedBench):
    unit_id = bench.units["Fir"]
    power = add_power_measurement(session, unit_id, None, NewPowerMeasurement(power_w=1.0, measured_on=DAY))
    chosen = NewAttachment(shows="meter display", caption="1.0 W", for_readers=True)
    attach(session, Evidence(unit_id=unit_id, power_measurement_id=power), photo(), "meter.jpg", chosen)
    attach(
        session, Evidence(unit_id=unit_id), photo(width=50), "unit.jpg", NewAttachment(shows="unit", for_readers=True)
    )
    attach(session, Evidence(unit_id=unit_id), photo(width=60), "own.jpg", NewAttachment(shows="unit"))
    draft = review_draft(session, unit_id)
    photos = {
        section.key: [(each.address, each.caption) for each in section.pictures if "attachments" in each.address]
        for section in draft.sections
    }
    assert {key: found for key, found in photos.items() if found} == {
        "power": [("/attachments/1/large.jpg", "Meter display. 1.0 W")],
        "what_it_is": [("/attachments/2/large.jpg", "Unit.")],
    }
    assert "![Meter display: 1.0 W](http://here/attachments/1/large.jpg)" in draft_markdown(draft, site="http://here")
    assert "<figcaption>Meter display. 1.0 W</figcaption>" in draft_html(draft, site="http://here")
    assert "attachments" not in draft_html(draft, site=None)

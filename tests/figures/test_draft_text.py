"""A draft as Markdown and as HTML: the same text, numbers linked to their trials, and no active content."""

from html.parser import HTMLParser

import pytest

from app.figures.articles.draft_text import draft_html, draft_markdown
from app.services.reviews.wording import Draft, DraftPoint, DraftSection, cite_trials, join_spans
from tests.figures.some_charts import HARMFUL


def draft(name: str = "Maker A Model 1") -> Draft:
    rate = cite_trials("162 m³/h", (5, 91))
    return Draft(
        1,
        f"{name}: a draft review",
        (
            DraftSection("what", "Specifications", facts=(("Kind", join_spans("other")),)),
            DraftSection(
                "cleaning", "Does it clean?", (join_spans("It delivers ", rate, "."),), items=(join_spans(HARMFUL),)
            ),
            DraftSection(
                "strengths",
                "Strengths",
                points=(
                    DraftPoint("a", "strength", join_spans("One."), join_spans("One."), "rule", ""),
                    DraftPoint("b", "strength", join_spans("Two."), join_spans("Two."), "rule", "", left_out=True),
                ),
            ),
            DraftSection("weaknesses", "Weaknesses"),
        ),
        "A bench.",
    )


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.tags: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.addresses += [value or "" for name, value in attrs if name == "href"]


def links(html: str) -> _Links:
    found = _Links()
    found.feed(html)
    return found


def test_numbers_lead_to_their_trials_at_the_bench_they_came_from():
    assert "[162 m³/h](http://desk:1/trials/91)" in draft_markdown(draft(), site="http://desk:1")
    assert links(draft_html(draft(), site="http://desk:1")).addresses == [
        "http://desk:1/trials/91",
        "http://desk:1/trials/5",
        "http://desk:1/trials/91",
    ]


def test_without_links_the_words_stay():
    assert "It delivers 162 m³/h \\[trials 5, 91\\]." in draft_markdown(draft(), site=None)
    assert links(draft_html(draft(), site=None)).addresses == []


@pytest.mark.parametrize("write", [draft_markdown, draft_html])
def test_a_point_left_out_is_not_in_the_file_and_an_empty_list_says_so(write):
    text = write(draft())
    assert "One." in text
    assert "Two." not in text
    assert "None." in text


@pytest.mark.parametrize("write", [draft_markdown, draft_html])
def test_the_verdict_stands_first(write):
    text = write(draft(), "Good.\n\nLoud.")
    assert text.index("Good.") < text.index("Loud.") < text.index("Specifications")


def test_harmful_words_stay_words():
    found = links(draft_html(draft(HARMFUL), HARMFUL))
    assert "img" not in found.tags
    assert "<img" not in draft_markdown(draft(HARMFUL), HARMFUL).replace("\\<img", "")

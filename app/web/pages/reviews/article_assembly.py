"""Assembles an article from the draft of a unit, its charts, tables and photos, with public links."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app.errors import HazefallError
from app.figures.articles.article_sections import article_draft
from app.figures.articles.draft_text import draft_html
from app.figures.chart import Chart, HouseStyle
from app.figures.charts.house_style import house_style
from app.figures.tables.table import ExportTable
from app.services.bench.chart_facts import read_chart_facts
from app.services.publishing.public_links import PublicLinks, public_links
from app.services.reviews.verdicts import verdicts_of_unit
from app.services.reviews.wording import Draft, DraftPicture
from app.web.downloads.chart_registry import make_chart
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm
from app.web.pages.downloads.table_registry import make_table
from app.web.pages.reviews.article_choices import (
    ArticleChoices,
    Offer,
    Offers,
    article_choices,
    photo_id,
    read_offers,
)


@dataclass(frozen=True, slots=True)
class Article:
    """An article; its pictures are named as files of its folder.

    charts : stem of the picture's file to the chart; photos : file of the picture to the attachment
    numbers, linked : cited numbers in the text, and those that lead to the published site
    left_out : what was chosen and cannot be shown, as sentences
    """

    draft: Draft
    verdict: str
    choices: ArticleChoices
    offers: Offers
    charts: dict[str, Chart]
    photos: dict[str, int]
    tables: tuple[ExportTable, ...]
    links: PublicLinks
    numbers: int
    linked: int
    left_out: tuple[str, ...]
    house: HouseStyle


def picture_of(stem: str, size: str, look: str) -> str:
    """File of a chart in one size and look."""
    return f"{stem}-{size}-{look}.png"


def assemble_article(session: Session, unit_id: int, form: TypedForm) -> Article:
    """The article that an address chooses. Invalid choices are noted in the form, and left out.

    Raises NotFound for an unknown unit, InvalidValue for a public address that is none.
    """
    from app.services.reviews.draft import review_draft  # loaded when used: it needs scipy

    draft = review_draft(session, unit_id)
    offers = read_offers(session, draft)
    choices = article_choices(form, offers)
    links = public_links(session, choices.site)
    slug = links.addresses.current.get(unit_id, f"unit-{unit_id}")
    left_out: list[str] = []
    made_charts = _made(session, make_chart, offers.chart, choices.chart, left_out)
    tables = _made(session, make_table, offers.table, choices.table, left_out)
    charts = {f"pictures/{slug}-{name}": chart for name, chart in made_charts.items() if not chart.is_empty}
    left_out += [_nothing(offers.chart, name) for name, chart in made_charts.items() if chart.is_empty]
    size, look = choices.size[0], choices.look[0]
    drawn = {
        stem.removeprefix(f"pictures/{slug}-"): DraftPicture(picture_of(stem, size, look), chart.alt_text)
        for stem, chart in charts.items()
    }
    photos = {
        one.address: replace(one, address=f"photos/{photo_id(one)}.jpg")
        for section in draft.sections
        for one in section.pictures
        if photo_id(one) in choices.photo
    }
    chosen = article_draft(draft, choices.part, drawn, photos, tuple(tables.values()))
    public = chosen.with_addresses(links.of)
    return Article(
        draft=public,
        verdict=_verdict(session, unit_id, choices.verdict),
        choices=choices,
        offers=offers,
        charts=charts,
        photos={one.address: int(one.address.removeprefix("photos/").removesuffix(".jpg")) for one in photos.values()},
        tables=tuple(tables.values()),
        links=links,
        numbers=draft_html(chosen).count("<a href="),
        linked=draft_html(public).count("<a href="),
        left_out=tuple(left_out),
        house=house_style(read_chart_facts(session)),
    )


def _made(
    session: Session, make: Callable[[Session, str, TypedForm], Any], offers: tuple[Offer, ...], names: tuple[str, ...],
    left_out: list[str],
) -> dict[str, Any]:  # fmt: skip
    """The chosen charts or tables by name; one that the bench has no data for is noted."""
    found = {}
    for offer in offers:
        if offer.value not in names:
            continue
        try:
            found[offer.value] = make(session, offer.value, query_form(QueryParams(offer.query)))
        except HazefallError as error:
            left_out.append(f"{offer.words}: {error.message}")
    return found


def _nothing(offers: tuple[Offer, ...], name: str) -> str:
    words = next(one.words for one in offers if one.value == name)
    return f"{words}: there is nothing to draw yet."


def _verdict(session: Session, unit_id: int, version: str) -> str:
    return next((row.words for row in verdicts_of_unit(session, unit_id) if str(row.version) == version), "")

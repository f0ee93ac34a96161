"""The article kit: a page that assembles an article from what is there, with a preview at two widths."""

from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import Request
from starlette.responses import Response

from app.compute.wording.numbers import counted, listed
from app.errors import InvalidValue
from app.figures.articles.embedded_article import MOST_BYTES
from app.services.units.entry import get_unit
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm
from app.web.pages.reviews.article_assembly import Article, assemble_article
from app.web.pages.reviews.article_choices import ArticleChoices, Offer
from app.web.pages.reviews.article_files import embed_page, too_large
from app.web.routers import page_router
from app.web.templating.headers import FRAMING_PAGE_POLICY
from app.web.templating.page_context import Choice

router = page_router()
_GROUPS = (
    ("part", "Text"),
    ("chart", "Charts"),
    ("table", "Tables"),
    ("photo", "Photos"),
    ("size", "Sizes of chart files"),
    ("look", "Look of chart files"),
)


@dataclass(frozen=True, slots=True)
class TickGroup:
    """A group of ticks: the name in the address, its legend, and the options."""

    name: str
    legend: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class ArticlePage:
    """Context of the page. `query` chooses the same article at the addresses of its files; `notices` say what it lacks.

    animation : query of the animated decay curves; "" where the article has none
    """

    title: str
    unit_id: int
    name: str
    answer: str
    notices: tuple[str, ...]
    groups: tuple[TickGroup, ...]
    verdicts: tuple[Choice, ...]
    site: str
    query: str
    animation: str
    fits: bool
    form: TypedForm


@router.get("/units/{unit_id}/article")
def show_article(unit_id: Id, request: Request, session: SessionDep, render: RenderDep) -> Response:
    unit, form = get_unit(session, unit_id), query_form(request.query_params)
    try:
        article = assemble_article(session, unit_id, form)
    except InvalidValue as error:  # the public address: the article is shown without it, and the field says so
        form.add_error(error.field or "", error.message)
        article = assemble_article(session, unit_id, TypedForm(form.values | {"site": []}, errors=form.errors))
    size = len(embed_page(session, article))
    page = _page(unit_id, f"{unit.maker} {unit.model}", article, size, form)
    response = render("pages/reviews/article.html", page, status_code=200 if form.is_good else 422)
    response.headers["Content-Security-Policy"] = FRAMING_PAGE_POLICY
    return response


def _page(unit_id: int, name: str, article: Article, size: int, form: TypedForm) -> ArticlePage:
    choices, offers = article.choices, article.offers
    decay = next((one.query for one in offers.chart if one.value == "decay-overlay" and one.value in choices.chart), "")
    return ArticlePage(
        title=f"Article: {name}",
        unit_id=unit_id,
        name=name,
        answer=_answer(article, size),
        notices=tuple(one for one in (article.links.notice, *article.left_out, too_large(size)) if one),
        groups=tuple(
            TickGroup(group, legend, _ticks(getattr(offers, group), getattr(choices, group)))
            for group, legend in _GROUPS
            if getattr(offers, group)
        ),
        verdicts=tuple(Choice(one.value, one.words, one.value == choices.verdict) for one in offers.verdict),
        site=form.typed("site"),
        query=_query(choices),
        animation=decay,
        fits=not too_large(size),
        form=form,
    )


def _ticks(offers: tuple[Offer, ...], chosen: tuple[str, ...]) -> tuple[Choice, ...]:
    return tuple(Choice(one.value, one.words, one.value in chosen) for one in offers)


def _query(choices: ArticleChoices) -> str:
    """The choices as a query; a group of which nothing is chosen stays in it without a value."""
    pairs = [(name, value) for name, _ in _GROUPS for value in getattr(choices, name) or ("",)]
    return urlencode([*pairs, ("verdict", choices.verdict), *([("site", choices.site)] if choices.site else [])])


def _answer(article: Article, size: int) -> str:
    charts, tables, photos = len(article.charts), len(article.tables), len(article.photos)
    holds = listed(
        [
            counted(len(article.choices.part), "section"),
            *([counted(charts, "chart")] if charts else []),
            *([counted(tables, "table")] if tables else []),
            *([counted(photos, "photo")] if photos else []),
        ]
    )
    return (
        f"{holds}; {article.linked} of {article.numbers} numbers link to the published site. As a page to embed "
        f"{size / 1000:.0f} of at most {MOST_BYTES / 1000:.0f} kB."
    )

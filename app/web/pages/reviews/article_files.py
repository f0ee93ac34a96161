"""An article as files: a folder with everything, Markdown with its pictures, clean HTML, or a page to embed."""

from base64 import b64encode
from io import BytesIO
from typing import Literal

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from app.errors import InvalidValue
from app.figures.articles.draft_text import draft_html, draft_markdown
from app.figures.articles.embedded_article import MOST_BYTES, embedded_article
from app.figures.renderers.svg_chart import svg_bytes
from app.figures.tables.formats import csv_text
from app.services.data_package.archive import PackageZip
from app.services.units.attachments.attach import attachment_picture, get_attachment
from app.services.units.attachments.pictures import PictureSize
from app.services.units.entry import get_unit
from app.web.api.shapes import Id, problem_answers
from app.web.dependencies import SessionDep
from app.web.downloads.parameters import download_content
from app.web.downloads.picture_sizes import sized_png
from app.web.downloads.response import download_response
from app.web.forms.addresses import query_form
from app.web.pages.reviews.article_assembly import Article, assemble_article, picture_of
from app.web.pages.reviews.article_choices import MOST_PICTURES
from app.web.routers import download_router
from app.web.templating.headers import FRAMED_POLICY

router = download_router()
Export = Literal["folder.zip", "markdown.zip", "clean.html", "embed.html"]
_MEDIA = {"zip": "application/zip", "html": "text/html; charset=utf-8"}


@router.get(
    "/units/{unit_id}/article-{export}",
    response_class=Response,
    responses=download_content(_MEDIA) | problem_answers(404),
)
def download_article(unit_id: Id, export: Export, request: Request, session: SessionDep) -> Response:
    """The article that the query chooses, as on the page *Article*: everything in a folder, Markdown with its pictures,
    HTML without classes or script, or a page of at most 150 kB to embed. Links lead to the published site.
    """
    get_unit(session, unit_id)
    form = query_form(request.query_params)
    article = assemble_article(session, unit_id, form)
    if form.errors:
        field, message = next(iter(form.errors.items()))
        raise InvalidValue(message, field=field)
    if export == "embed.html" and form.typed("preview"):
        headers = {"Content-Security-Policy": FRAMED_POLICY, "X-Frame-Options": "SAMEORIGIN"}
        return Response(embed_page(session, article), media_type=_MEDIA["html"], headers=headers)
    content = _WRITTEN[export](session, article)
    media = _MEDIA[export.rpartition(".")[2]]
    return download_response(request, content, media, file_name=f"unit-{unit_id}-{export}", attached=True)


def embed_page(session: Session, article: Article) -> bytes:
    """The page to embed, whatever its size."""
    size, look = article.choices.size[0], article.choices.look[0]
    charts = {picture_of(stem, size, look): chart for stem, chart in article.charts.items()}
    photos = {path: _data_url("image/jpeg", _photo(session, one, "small")) for path, one in article.photos.items()}
    return embedded_article(article.draft, article.verdict, charts, photos, article.house).encode()


def too_large(size: int) -> str:
    """What to do about a page to embed that is too large; "" for one that is not."""
    if size <= MOST_BYTES:
        return ""
    return (
        f"The page to embed has {size / 1000:.0f} kB; at most {MOST_BYTES / 1000:.0f} kB is offered, because it is "
        "loaded with every view of an article. Leave out a chart, a photo or a table."
    )


def _embedded(session: Session, article: Article) -> bytes:
    content = embed_page(session, article)
    if problem := too_large(len(content)):
        raise InvalidValue(problem, field="chart")
    return content


def _clean(session: Session, article: Article) -> bytes:
    """One file: pictures are in it, so that it opens from anywhere."""
    html = draft_html(article.draft, article.verdict)
    size, look = article.choices.size[0], article.choices.look[0]
    for stem, chart in article.charts.items():
        drawn = svg_bytes(chart, look=look)  # type: ignore[arg-type]
        html = _placed(html, picture_of(stem, size, look), _data_url("image/svg+xml", drawn))
    for path, one in article.photos.items():
        html = _placed(html, path, _data_url("image/jpeg", _photo(session, one, "large")))
    return html.encode()


def _placed(html: str, path: str, url: str) -> str:
    return html.replace(f'src="{path}"', f'src="{url}"')


def _markdown(session: Session, article: Article) -> bytes:
    out = BytesIO()
    with PackageZip(out) as folder:
        folder.write("article.md", draft_markdown(article.draft, article.verdict).encode())
        _write_pictures(session, article, folder, article.choices.size[:1], article.choices.look[:1])
    return out.getvalue()


def _folder(session: Session, article: Article) -> bytes:
    out, choices = BytesIO(), article.choices
    embed = embed_page(session, article)
    with PackageZip(out) as folder:
        folder.write("article.md", draft_markdown(article.draft, article.verdict).encode())
        folder.write("article.html", draft_html(article.draft, article.verdict).encode())
        if not too_large(len(embed)):
            folder.write("embed.html", embed)
        folder.write("about.txt", about_text(article, len(embed)).encode())
        _write_pictures(session, article, folder, choices.size, choices.look)
        for stem, chart in article.charts.items():
            for look in choices.look:
                folder.write(f"{stem}-{look}.svg", svg_bytes(chart, look=look))  # type: ignore[arg-type]
        for table in article.tables:
            folder.write(f"tables/{table.name}.csv", csv_text(table).encode())
    return out.getvalue()


def _write_pictures(
    session: Session, article: Article, folder: PackageZip, sizes: tuple[str, ...], looks: tuple[str, ...]
) -> None:
    if len(article.charts) * len(sizes) * len(looks) > MOST_PICTURES:
        raise InvalidValue(
            f"{len(article.charts)} charts in {len(sizes)} sizes and {len(looks)} looks are "
            f"{len(article.charts) * len(sizes) * len(looks)} pictures; at most {MOST_PICTURES} are drawn at once. "
            "Choose fewer.",
            field="size",
        )
    for stem, chart in article.charts.items():
        for size in sizes:
            for look in looks:
                folder.write(picture_of(stem, size, look), sized_png(chart, size, look))  # type: ignore[arg-type]
    for path, one in article.photos.items():
        folder.write(path, _photo(session, one, "large"))


def about_text(article: Article, embed_bytes: int) -> str:
    """What the folder holds, what its links lead to, and where its numbers are from."""
    edition = article.links.edition
    lines = [
        article.draft.title,
        "",
        "article.md, article.html: the text, with the pictures of this folder",
        f"embed.html: one page for any width, {embed_bytes / 1000:.0f} kB"
        if not too_large(embed_bytes)
        else f"embed.html is not here. {too_large(embed_bytes)}",
        "pictures: each chart in the chosen sizes and looks; tables: the chosen tables as CSV",
        "",
        f"Links: {article.linked} of {article.numbers}"
        + (
            f", to edition {edition[0]} of {edition[1]} at {article.links.base_url}"
            if article.linked and edition
            else ""
        ),
        *([article.links.notice] if article.links.notice else []),
        "",
        article.draft.foot,
    ]
    return "\n".join(lines) + "\n"


def _photo(session: Session, attachment_id: int, size: PictureSize) -> bytes:
    return attachment_picture(session, get_attachment(session, attachment_id), size)


def _data_url(media: str, content: bytes) -> str:
    return f"data:{media};base64,{b64encode(content).decode()}"


_WRITTEN = {"folder.zip": _folder, "markdown.zip": _markdown, "clean.html": _clean, "embed.html": _embedded}

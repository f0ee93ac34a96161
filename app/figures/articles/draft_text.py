"""A draft review as Markdown and as HTML, from one structure so that both are equal.

Links are prefixed with `site`, such as "http://127.0.0.1:8000", so that a downloaded file still links to
the trials; with `site` None the numbers are not linked.
"""

from collections.abc import Callable
from html import escape

from app.figures.tables.formats import escaped
from app.services.reviews.wording import Draft, DraftPicture, DraftPoint, DraftSection, Spans


def draft_markdown(draft: Draft, verdict: str = "", site: str | None = "") -> str:
    """The draft as Markdown; the reviewer's verdict comes first, if any."""
    parts = [f"# {escaped(draft.title)}"]
    if verdict:
        parts += ["## Verdict", *(escaped(line) for line in verdict.split("\n") if line.strip())]
    for section in draft.sections:
        parts.append(f"## {escaped(section.heading)}")
        parts += [_markdown_text(words, site) for words in section.paragraphs]
        if section.table:
            rows = [" | ".join(_markdown_text(cell, site).replace("|", "\\|") for cell in row) for row in section.table]
            parts.append(
                "\n".join(f"| {row} |" for row in (rows[0], " | ".join("---" for _ in section.table[0]), *rows[1:]))
            )
            parts += [escaped(section.table_foot)] if section.table_foot else []
        for picture in shown_pictures(section, site):
            parts.append(f"![{escaped(picture.alt)}]({site}{picture.address})")
            parts += [escaped(picture.caption)] if picture.caption else []
        lists = [f"- **{escaped(name)}**: {_markdown_text(words, site)}" for name, words in section.facts]
        lists += [f"- {_markdown_text(point.words, site)}" for point in shown_points(section)]
        lists += [f"- {_markdown_text(words, site)}" for words in section.items]
        if lists:
            parts.append("\n".join(lists))
        if section.key in ("strengths", "weaknesses") and not lists:
            parts.append("None.")
    return "\n\n".join([*parts, f"*{escaped(draft.foot)}*"]) + "\n"


def draft_html(draft: Draft, verdict: str = "", site: str | None = "") -> str:
    """The draft as one HTML file without classes or script; the content of `<article>` can be embedded in a page."""

    def image(picture: DraftPicture) -> str:
        return f'<img src="{escape(f"{site}{picture.address}")}" alt="{escape(picture.alt)}">'

    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(draft.title)}</title></head><body>\n"
        f"{article_html(draft, verdict, site, image)}</body></html>\n"
    )


def article_html(draft: Draft, verdict: str, site: str | None, image: Callable[[DraftPicture], str]) -> str:
    """The draft as an `<article>`; `image` draws each picture."""
    parts = [f"<h1>{escape(draft.title)}</h1>"]
    if verdict:
        parts += ["<h2>Verdict</h2>", *(f"<p>{escape(line)}</p>" for line in verdict.split("\n") if line.strip())]
    for section in draft.sections:
        parts.append(f"<h2>{escape(section.heading)}</h2>")
        parts += [f"<p>{_html_text(words, site)}</p>" for words in section.paragraphs]
        if section.table:
            parts.append(_html_table(section, site))
        for picture in shown_pictures(section, site):
            caption = f"<figcaption>{escape(picture.caption)}</figcaption>" if picture.caption else ""
            parts.append(f"<figure>{image(picture)}{caption}</figure>")
        if section.facts:
            facts = "".join(
                f"<dt>{escape(name)}</dt><dd>{_html_text(words, site)}</dd>" for name, words in section.facts
            )
            parts.append(f"<dl>{facts}</dl>")
        items = [_html_text(point.words, site) for point in shown_points(section)]
        items += [_html_text(words, site) for words in section.items]
        if items:
            parts.append(f"<ul>{''.join(f'<li>{item}</li>' for item in items)}</ul>")
        elif section.key in ("strengths", "weaknesses"):
            parts.append("<p>None.</p>")
    body = "\n".join(parts)
    return f"<article>\n{body}\n<footer><p>{escape(draft.foot)}</p></footer>\n</article>\n"


def _html_table(section: DraftSection, site: str | None) -> str:
    heads, *rows = section.table
    head = "".join(f'<th scope="col">{_html_text(cell, site)}</th>' for cell in heads)
    body = "".join(
        f'<tr><th scope="row">{_html_text(row[0], site)}</th>'
        + "".join(f"<td>{_html_text(cell, site)}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    foot = f"<p>{escape(section.table_foot)}</p>" if section.table_foot else ""
    return f"<div><table><caption>{escape(section.table_caption)}</caption><tr>{head}</tr>{body}</table></div>{foot}"


def shown_pictures(section: DraftSection, site: str | None) -> tuple[DraftPicture, ...]:
    """The pictures, which are on the bench: none without links to it."""
    return section.pictures if site is not None else ()


def shown_points(section: DraftSection) -> list[DraftPoint]:
    """The points that are not excluded."""
    return [point for point in section.points if not point.left_out]


def _markdown_text(words: Spans, site: str | None) -> str:
    return "".join(
        f"[{escaped(span.text)}]({site}{span.address})" if span.address and site is not None else escaped(span.text)
        for span in words
    )


def _html_text(words: Spans, site: str | None) -> str:
    return "".join(
        f'<a href="{escape(site + span.address)}">{escape(span.text)}</a>'
        if span.address and site is not None
        else escape(span.text)
        for span in words
    )

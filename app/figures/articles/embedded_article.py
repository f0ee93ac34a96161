"""An article as one page without script or anything from elsewhere, to embed in another page at any width."""

from collections.abc import Mapping
from html import escape

from app.figures.articles.draft_text import article_html
from app.figures.chart import Chart, HouseStyle
from app.figures.renderers.embedded_chart import FILE_POLICY, PHONE_PX, chart_style
from app.figures.renderers.svg_chart import inline_svg
from app.services.reviews.wording import Draft, DraftPicture

MOST_BYTES = 150_000
WIDTH_PX = 720
_STYLE = (
    "article{max-width:45em;margin:auto;overflow-wrap:break-word}h1{font-size:1.6em;line-height:1.2}"
    "div{overflow-x:auto}div.wide,div.narrow{overflow:visible}td,th{vertical-align:top;min-width:5em}"
    "dt{font-weight:bold}dd{margin:0 0 .5em}figure{margin:1em 0}img{max-width:100%;height:auto}a{color:inherit}"
)


def embedded_article(
    draft: Draft, verdict: str, charts: Mapping[str, Chart], photos: Mapping[str, str], house: HouseStyle
) -> str:
    """The page. `charts` and `photos` (as data: URLs) are by the address of their picture; charts follow the reader's
    light or dark setting, and have a drawing of their own for phones.
    """

    def image(picture: DraftPicture) -> str:
        chart = charts.get(picture.address)
        if chart is None:
            return f'<img src="{photos[picture.address]}" alt="{escape(picture.alt)}">'
        wide, narrow = inline_svg(chart, WIDTH_PX), inline_svg(chart, PHONE_PX)
        return f'<div class="wide">{wide}</div><div class="narrow">{narrow}</div>'

    # a table scrolls in its box, also by keyboard
    box = '<div tabindex="0" role="region" aria-label="Table"><table>'
    article = article_html(draft, verdict, "", image).replace("<div><table>", box)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{FILE_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>{escape(draft.title)}</title><base target="_top">'
        f"<style>{chart_style(house, WIDTH_PX)}{_STYLE}</style></head><body>\n"
        f"{article}</body></html>\n"
    )

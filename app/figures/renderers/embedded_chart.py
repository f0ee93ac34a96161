"""A chart as a self-contained HTML file: inline picture, finding and numbers, without script.

It loads nothing from elsewhere, so it can be archived, mailed, or embedded in an article.
"""

from html import escape

from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.figures.chart import Chart, HouseStyle, Series
from app.figures.date_axis import day_of
from app.figures.layout.chart_layout import WIDTH_PX
from app.figures.layout.frame import NARROW_PX
from app.figures.palette import FADED, HAIRLINE, INK, PAPER
from app.figures.renderers.svg_chart import inline_svg
from app.figures.renderers.svg_colours import DARK, readable_on_dark

# content security policy for the browser that opens the file
PHONE_PX = 390
_MOST_ROWS = 240  # of all curves; an article should not load thousands of lines that nobody opens
FILE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def chart_html(chart: Chart, width_px: int = WIDTH_PX) -> str:
    """The HTML file. Faint readings are only in the picture; the CSV of the chart contains them."""
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{FILE_POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(chart.title)}</title>",
            f"<style>{chart_style(chart.house, width_px)}</style></head><body>",
            f'<figure><div class="wide">{inline_svg(chart, width_px)}</div>',
            f'<div class="narrow">{inline_svg(chart, PHONE_PX)}</div>' if width_px > NARROW_PX else "",
            f"<figcaption>{escape(chart.alt_text)}</figcaption></figure>",
            _numbers(chart),
            f"<p><small>{escape(chart.foot)}</small></p>",
            "</body></html>",
            "",
        ]
    )


def chart_style(house: HouseStyle, width_px: int) -> str:
    """Rules of a page with charts of that width; a class for the drawing of each width."""
    font = f'"{house.font}", ' if house.font else ""
    ink, accent = house.ink or INK, house.accent or INK
    narrow = ""
    if width_px > NARROW_PX:
        narrow = (
            f".narrow{{display:none}}@media(max-width:{NARROW_PX}px){{.wide{{display:none}}.narrow{{display:block}}}}"
        )
    dark_ink, dark_accent = readable_on_dark(ink), readable_on_dark(accent)
    return (
        f"body{{margin:0;padding:8px;color:{ink};background:#fff;font:16px/1.5 {font}Helvetica,Arial,sans-serif}}"
        f"figure{{margin:0;max-width:{width_px}px}}figure svg{{width:100%;height:auto}}small{{color:{FADED}}}{narrow}"
        f"summary{{color:{accent};cursor:pointer}}table{{border-collapse:collapse;font-variant-numeric:tabular-nums}}"
        f"th,td{{text-align:left;padding:2px 10px 2px 0;border-bottom:1px solid {HAIRLINE}}}.n{{text-align:right}}"
        f"@media (prefers-color-scheme:dark){{body{{background:{DARK[PAPER]};color:{dark_ink}}}"
        f"small{{color:{DARK[FADED]}}}summary{{color:{dark_accent}}}th,td{{border-color:{DARK[HAIRLINE]}}}}}"
    )


def _numbers(chart: Chart) -> str:
    shown = [one for one in chart.plotted if not one.faint]
    longest = max((len(one.x) for one in shown), default=0)
    most = max(6, _MOST_ROWS // max(len(shown), 1)) if longest > len(chart.y_axis.names) else longest
    rows = "".join(_rows(series, most, of_days=chart.x_axis.scale == "days") for series in shown)
    if not rows:
        return ""
    thinned = ". Of each curve, some of its points; the plotted data (CSV) have all." if longest > most else ""
    heads = ("series", chart.x_column, chart.y_column, "low 95 %", "high 95 %")
    head = "".join(f'<th scope="col">{escape(words.replace("_", " "))}</th>' for words in heads)
    return (
        f"<details><summary>The numbers</summary><table><caption>{escape(chart.title)}{thinned}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></details>"
    )


def _rows(series: Series, most: int, *, of_days: bool) -> str:
    made = []
    step = max(1, -(-len(series.x) // max(most, 1)))
    for index, (x, y) in list(enumerate(zip(series.x, series.y, strict=True)))[::step]:
        low = series.low[index] if series.low else None
        high = series.high[index] if series.high else None
        bound = "at least " if series.censored and series.censored[index] else ""
        along = day_of(float(x)).isoformat() if of_days else x
        cells = "".join(f'<td class="n">{_shown(value)}</td>' for value in (along, y, low, high))
        made.append(f'<tr><th scope="row">{escape(bound + series.name)}</th>{cells}</tr>')
    return "".join(made)


def _shown(value: float | str | None) -> str:
    if value is None:
        return ""
    return escape(value) if isinstance(value, str) else rounded_text(value, decimals_from_size(value, 4))

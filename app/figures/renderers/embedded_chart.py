"""A chart as a self-contained HTML file: inline picture, finding and numbers, without script.

It loads nothing from elsewhere, so it can be archived, mailed, or embedded in an article.
"""

from html import escape

from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.figures.chart import Chart, Series
from app.figures.date_axis import day_of
from app.figures.layout.chart_layout import WIDTH_PX
from app.figures.palette import FADED, HAIRLINE, INK, PAPER
from app.figures.renderers.svg_chart import inline_svg
from app.figures.renderers.svg_colours import DARK, readable_on_dark

# content security policy for the browser that opens the file
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
            f"<style>{_style(chart, width_px)}</style></head><body>",
            f"<figure>{inline_svg(chart, width_px)}",
            f"<figcaption>{escape(chart.alt_text)}</figcaption></figure>",
            _numbers(chart),
            f"<p><small>{escape(chart.foot)}</small></p>",
            "</body></html>",
            "",
        ]
    )


def _style(chart: Chart, width_px: int) -> str:
    font = f'"{chart.house.font}", ' if chart.house.font else ""
    ink, accent = chart.house.ink or INK, chart.house.accent or INK
    dark_ink, dark_accent = readable_on_dark(ink), readable_on_dark(accent)
    return (
        f"body{{margin:0;padding:8px;color:{ink};background:#fff;font:16px/1.5 {font}Helvetica,Arial,sans-serif}}"
        f"figure{{margin:0;max-width:{width_px}px}}svg{{width:100%;height:auto}}small{{color:{FADED}}}"
        f"summary{{color:{accent};cursor:pointer}}table{{border-collapse:collapse;font-variant-numeric:tabular-nums}}"
        f"th,td{{text-align:left;padding:2px 10px 2px 0;border-bottom:1px solid {HAIRLINE}}}.n{{text-align:right}}"
        f"@media (prefers-color-scheme:dark){{body{{background:{DARK[PAPER]};color:{dark_ink}}}"
        f"small{{color:{DARK[FADED]}}}summary{{color:{dark_accent}}}th,td{{border-color:{DARK[HAIRLINE]}}}}}"
    )


def _numbers(chart: Chart) -> str:
    shown = [series for series in chart.series if not series.faint]
    rows = "".join(_rows(series, of_days=chart.x_axis.scale == "days") for series in shown)
    if not rows:
        return ""
    heads = ("series", chart.x_column, chart.y_column, "low 95 %", "high 95 %")
    head = "".join(f'<th scope="col">{escape(words.replace("_", " "))}</th>' for words in heads)
    return (
        f"<details><summary>The numbers</summary><table><caption>{escape(chart.title)}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></details>"
    )


def _rows(series: Series, *, of_days: bool) -> str:
    made = []
    for index, (x, y) in enumerate(zip(series.x, series.y, strict=True)):
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

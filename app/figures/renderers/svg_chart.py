"""A chart as SVG, written from its layout. The same chart gives the same bytes.

Text stays text, in fonts that every system has. A reader's dark setting is followed by a style sheet inside the file;
the colours are attributes, so that a program that knows no style sheets shows the picture in light. Readings that are
drawn as dots are one path for a series, and places are tenths of a pixel: what no screen shows only costs bytes.
"""

from collections import defaultdict
from collections.abc import Iterator
from html import escape
from zlib import crc32

from app.figures.chart import Chart, Series
from app.figures.layout.boxes import LINE_HEIGHT, Box, KeySample, Leader, PlacedText
from app.figures.layout.chart_layout import WIDTH_PX, ChartLayout, chart_layout
from app.figures.layout.positions import Positions, bar_boxes, point_radius, stepped
from app.figures.palette import (
    FADED,
    HAIRLINE,
    INK,
    PAPER,
    REFERENCE_STYLE,
    REGION,
    RULE,
    LineStyle,
    colour_of,
    line_style_of,
)  # fmt: skip
from app.figures.renderers.svg_colours import CLASS, Look, dark_partners, dark_rules, font_stack
from app.figures.renderers.svg_paths import Point, box_path, dots, path_of, px

_POINT = 4 / 3  # px: line styles are in points
_LINE, _DOTTED = 2.27, "2 2.67"
_BASELINE = 0.34  # of the font size, below the middle of a line
_OPEN_MARK = "m-5.3-5.3l10.7 5.3l-10.7 5.3z"


def svg_bytes(chart: Chart, width_px: int = WIDTH_PX, look: Look = "page") -> bytes:
    """The chart as an SVG file, with its title and alt text. A look of "page" is light or dark as the reader's page."""
    return svg_of_layout(chart, chart_layout(chart, width_px), look)


def svg_of_layout(chart: Chart, layout: ChartLayout, look: Look = "page") -> bytes:
    """The same for a layout that is known already."""
    width, height = f"{layout.width:g}", f"{round(layout.height)}"
    head = (
        f'<svg class="{CLASS}" xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" role="img">\n'
    )
    words = f"<title>{_text(chart.title)}</title><desc>{_text(chart.alt_text)}</desc>\n"
    paper = f'<path fill="{PAPER}" d="M0 0h{width}v{height}h-{width}z"/>\n'
    drawn = _drawn(chart, layout) if look == "transparent" else f"{paper}{_drawn(chart, layout)}"
    if look == "page":
        drawn = _styled(chart, drawn)
    elif look == "dark":
        for light, dark in dark_partners(chart.house).items():
            drawn = drawn.replace(f'="{light}"', f'="{dark}"')
    return f"{head}{words}{drawn}</svg>\n".encode()


def inline_svg(chart: Chart, width_px: int = WIDTH_PX) -> str:
    """The picture as part of a page, as wide as its container, on the ground of the page."""
    layout = chart_layout(chart, width_px)
    return (
        f'<svg class="{CLASS}" role="img" aria-label="{escape(chart.alt_text)}" '
        f'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {layout.width:g} {round(layout.height)}">\n'
        f"{_styled(chart, _drawn(chart, layout))}</svg>"
    )


def _styled(chart: Chart, body: str) -> str:
    return f"<style>{dark_rules(chart.house, body)}</style>\n{body}"


def _drawn(chart: Chart, layout: ChartLayout) -> str:
    drawing = _Drawing(chart, layout)
    font = escape(font_stack(chart.house.font))
    return f'<g font-family="{font}" font-size="13" stroke-linejoin="round">\n{drawing.all()}</g>\n'


class _Drawing:
    """The parts of one chart, from the back to the front: each is a list of elements."""

    def __init__(self, chart: Chart, layout: ChartLayout) -> None:
        self.chart, self.layout, self.positions = chart, layout, layout.positions
        self.ink = chart.house.ink or INK
        self.parts: dict[int, list[str]] = defaultdict(list)

    def all(self) -> str:
        plot = self.layout.plot
        self._grid()
        self._references()
        stacks: dict[tuple[str, float | str], float] = {}
        for series in self.chart.series:
            self._series(series, stacks)
        within = "\n".join(line for level in sorted(self.parts) for line in self.parts[level])
        clip = f"plot-{crc32(within.encode()):08x}"  # of its own, because a page may hold several pictures
        return "\n".join(
            [
                f'<clipPath id="{clip}"><path d="{box_path(plot)}"/></clipPath>',
                f'<g fill="none" clip-path="url(#{clip})">\n{within}\n</g>',
                *self._open_marks(),
                *self._around(),
                "",
            ]
        )

    def colour(self, series: Series) -> str:
        return colour_of(series.colour, self.ink, self.chart.house.accent)

    def _grid(self) -> None:
        plot, layout = self.layout.plot, self.layout
        ups = "" if self.chart.x_axis.names else "".join(
            f"M{px(self.positions.x(at))} {px(plot.y0)}v{px(plot.height)}" for at, _ in layout.x_ticks
        )  # fmt: skip
        across = "".join(f"M{px(plot.x0)} {px(self.positions.y(at))}h{px(plot.width)}" for at, _ in layout.y_ticks)
        if ups or across:
            self.parts[0].append(f'<path stroke="{HAIRLINE}" d="{ups}{across}"/>')

    def _references(self) -> None:
        plot, positions = self.layout.plot, self.positions
        for region in self.chart.regions:
            x0, x1 = positions.x(region.low), positions.x(region.high)
            box = Box(x0, plot.y0, x1, plot.y1)
            self.parts[0].append(f'<path fill="{REGION}" fill-opacity=".1" d="{box_path(box)}"/>')
        for line in self.chart.reference_lines:
            if line.axis == "y":
                path = f"M{px(plot.x0)} {px(positions.y(line.at))}h{px(plot.width)}"
            else:
                path = f"M{px(positions.x(line.at))} {px(plot.y0)}v{px(plot.height)}"
            self.parts[1].append(f'<path stroke="{RULE}" stroke-width="1.33" stroke-dasharray="{_DOTTED}" d="{path}"/>')

    def _series(self, series: Series, stacks: dict[tuple[str, float | str], float]) -> None:
        colour = self.colour(series)
        runs = self.positions.runs(series) if series.kind not in ("bar", "interval", "band") else []
        if series.kind == "points":
            dotted = dots([point for run in runs for point in run.tolist()])
            size, faint = 2 * point_radius(series), ' stroke-opacity=".35"' if series.faint else ""
            self.parts[2].append(
                f'<path stroke="{colour}" stroke-width="{size:g}" stroke-linecap="round"{faint} d="{dotted}"/>'
            )
        elif series.kind == "band":
            path = path_of(_outline(series, self.positions))
            self.parts[1].append(f'<path fill="{colour}" fill-opacity=".16" d="{path}z"/>' if path else "")
        elif series.kind == "bar":
            path = "".join(box_path(box) for box in bar_boxes(series, self.positions, stacks))
            self.parts[2].append(f'<path fill="{colour}" d="{path}"/>')
        elif series.kind == "interval":
            self._intervals(series, colour)
        else:
            path = "".join(path_of((stepped(run) if series.kind == "step" else run).tolist()) for run in runs)
            self.parts[3].append(f'<path stroke="{colour}" stroke-width="{_LINE}"{_dashes(series)} d="{path}"/>')

    def _intervals(self, series: Series, colour: str) -> None:
        whiskers, marks, bounds = [], [], []
        end = (self.positions.x_ends if self.chart.horizontal else self.positions.y_ends)[1]
        for index, (x, y) in enumerate(zip(series.x, series.y, strict=True)):
            value, name = (x, y) if self.chart.horizontal else (y, x)
            if not isinstance(value, int | float) or name is None:
                continue
            if series.censored and series.censored[index]:
                bounds.append(self._from_to(name, value, end))
                continue
            low = series.low[index] if series.low else None
            high = series.high[index] if series.high else None
            if low is not None and high is not None:
                whiskers.append(self._from_to(name, low, high))
            at_x, at_y = self._at(name, value)
            marks.append(f"M{px(at_x)} {px(at_y - 6.7)}v13.3" if self.chart.horizontal
                         else f"M{px(at_x - 6.7)} {px(at_y)}h13.3")  # fmt: skip
        if whiskers:
            self.parts[2].append(
                f'<path stroke="{colour}" stroke-width="5.3" stroke-opacity=".45" d="{"".join(whiskers)}"/>'
            )
        if bounds:
            self.parts[2].append(
                f'<path stroke="{colour}" stroke-width="1.33" stroke-dasharray="{_DOTTED}" d="{"".join(bounds)}"/>'
            )
        if marks:
            self.parts[3].append(f'<path stroke="{colour}" stroke-width="2.7" d="{"".join(marks)}"/>')

    def _at(self, name: float | str, value: float) -> Point:
        """The place of a value at a name."""
        x, y = (value, name) if self.chart.horizontal else (name, value)
        return self.positions.x(x), self.positions.y(y)

    def _from_to(self, name: float | str, low: float, high: float) -> str:
        (x0, y0), (x1, y1) = self._at(name, low), self._at(name, high)
        return f"M{px(x0)} {px(y0)}L{px(x1)} {px(y1)}"

    def _open_marks(self) -> Iterator[str]:
        """Open ends of bounds, which may reach beyond the plot."""
        for series in self.chart.series:
            places = [
                (self.positions.x(x), self.positions.y(y))
                for x, y, bound in zip(series.x, series.y, series.censored, strict=False)
                if bound and y is not None and (series.kind == "interval" or x == series.x[-1])
            ]
            if places and series.kind in ("interval", "line", "step"):
                path = "".join(f"M{px(x)} {px(y)}{_OPEN_MARK}" for x, y in places)
                yield f'<path fill="none" stroke="{self.colour(series)}" stroke-width="2.1" d="{path}"/>'

    def _around(self) -> Iterator[str]:
        """Accent, axes, leader lines, key and texts."""
        plot, chart, layout = self.layout.plot, self.chart, self.layout
        if chart.house.accent:
            yield f'<path stroke="{chart.house.accent}" stroke-width="4" d="M12 6h48"/>'
        xs = [self.positions.x(at) for at in chart.x_axis.names or [at for at, _ in layout.x_ticks]]
        ys = [self.positions.y(at) for at in chart.y_axis.names or [at for at, _ in layout.y_ticks]]
        ticks = "".join(f"M{px(x)} {px(plot.y1)}v5" for x in xs) + "".join(f"M{px(plot.x0)} {px(y)}h-5" for y in ys)
        axes = f"M{px(plot.x0)} {px(plot.y0)}V{px(plot.y1)}H{px(plot.x1)}"
        yield f'<path fill="none" stroke="{RULE}" d="{axes}{ticks}"/>'
        for leader in layout.leaders:
            yield self._leader(leader)
        for sample in layout.samples:
            yield self._sample(sample)
        for text in layout.texts:
            yield from self._words(text)

    def _leader(self, leader: Leader) -> str:
        look = f'stroke="{RULE}" stroke-width="1.33" stroke-dasharray="{_DOTTED}"'
        if leader.series is not None:
            look = f'stroke="{self.colour(leader.series)}"'
        return f'<path {look} d="M{px(leader.x0)} {px(leader.y0)}L{px(leader.x1)} {px(leader.y1)}"/>'

    def _sample(self, sample: KeySample) -> str:
        """What a series looks like, before its name in the key."""
        box, series = sample.box, sample.series
        x, y = (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2
        line = f"M{px(box.x0)} {px(y)}H{px(box.x1)}"
        if series is None:
            return f'<path stroke="{RULE}" stroke-width="1.33" stroke-dasharray="{_DOTTED}" d="{line}"/>'
        stroke = f'stroke="{self.colour(series)}"'
        if series.kind == "interval":
            if series.censored and all(series.censored):
                return f'<path fill="none" {stroke} stroke-width="2.1" d="M{px(x)} {px(y)}{_OPEN_MARK}"/>'
            return (
                f'<path {stroke} stroke-width="5.3" stroke-opacity=".45" d="M{px(x - 9)} {px(y)}h18"/>'
                f'<path {stroke} stroke-width="2.7" d="M{px(x)} {px(y - 6)}v12"/>'
            )
        if series.kind == "points":
            faint = ' stroke-opacity=".35"' if series.faint else ""
            size = 2 * point_radius(series)
            return f'<path {stroke} stroke-width="{size:g}" stroke-linecap="round"{faint} d="M{px(x)} {px(y)}h0"/>'
        if series.kind == "bar":
            return f'<path {stroke} stroke-width="10.7" d="M{px(box.x0 + 4)} {px(y)}H{px(box.x1 - 4)}"/>'
        return f'<path {stroke} stroke-width="{_LINE}"{_dashes(series)} d="{line}"/>'

    def _words(self, text: PlacedText) -> Iterator[str]:
        x, middle = text.anchor
        pitch = text.size * LINE_HEIGHT
        first = middle - pitch * (len(text.lines) - 1) / 2 + _BASELINE * text.size
        look = f' fill="{FADED if text.faded else self.ink}"'
        look += {"left": "", "center": ' text-anchor="middle"', "right": ' text-anchor="end"'}[text.align]
        look += ' font-weight="bold"' if text.bold else ""
        look += "" if text.size == 13 else f' font-size="{text.size:g}"'
        for place, line in enumerate(text.lines):
            yield f'<text x="{px(x)}" y="{px(first + place * pitch)}"{look}>{_text(line)}</text>'


def _dashes(series: Series) -> str:
    style: LineStyle = REFERENCE_STYLE if series.colour is None else line_style_of(series.dash)
    if isinstance(style.matplotlib, str):
        return ""
    return f' stroke-dasharray="{" ".join(f"{length * _LINE:.3g}" for length in style.matplotlib[1])}"'


def _outline(series: Series, positions: Positions) -> list[Point]:
    """A band: along its upper side, and back along its lower one."""
    lower, upper = positions.band(series)
    return [*upper.tolist(), *lower[::-1].tolist()]


def _text(words: str) -> str:
    return escape(words, quote=False)

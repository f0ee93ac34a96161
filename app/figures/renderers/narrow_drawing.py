"""Layout of narrow (phone-width) drawings: names on two lines, and a legend instead of labels at the curves' ends."""

from textwrap import fill

from app.figures.chart import Chart, Series

NARROW_PX = 560
ROW_PX, NARROW_ROW_PX = 30, 38
KEY_LINE_PX = 20
NAME_PX, NARROW_NAME_PX = 7.4, 7.0
_LONGEST_LINE = 18


def is_narrow(width_px: int) -> bool:
    return width_px < NARROW_PX


def keyed_series(chart: Chart, width_px: int) -> tuple[Series, ...]:
    """The curves that need a legend below the axes; none if there is room for labels at their ends."""
    if not is_narrow(width_px):
        return ()
    return tuple({series.end_label: series for series in chart.series if series.end_label}.values())


def legend_columns(chart: Chart, width_px: int) -> int:
    """Number of legend entries per row."""
    longest = max((len(series.name) for series in chart.series if series.in_legend or series.kind == "bar"), default=0)
    if not is_narrow(width_px):
        return 4
    return 2 if longest <= _LONGEST_LINE + 6 else 1


def legend_name(name: str, width_px: int) -> str:
    """A legend name, wrapped as a narrow drawing requires."""
    return fill(name, 40) if is_narrow(width_px) else name


def axis_name(name: str, width_px: int) -> str:
    r"""A category name beside the axis: shortened if very long, on two lines in a narrow drawing.

    >>> axis_name("Home-built Box fan with four filters", 390)
    'Home-built Box fan\nwith four filters'
    """
    if not is_narrow(width_px):
        return name if len(name) <= 44 else f"{name[:43]}…"
    if len(name) <= _LONGEST_LINE:
        return name
    cut = name.rfind(" ", 0, _LONGEST_LINE + 1)
    lines = (name[:cut], name[cut + 1 :]) if cut > 0 else (name,)
    return "\n".join(line if len(line) <= _LONGEST_LINE else f"{line[: _LONGEST_LINE - 1]}…" for line in lines)


def name_margin_px(names: tuple[str, ...], width_px: int) -> float:
    """Margin for the names left of the axis."""
    if not is_narrow(width_px):
        return min(34 + NAME_PX * max(len(name) for name in names), 0.42 * width_px)
    longest = max(len(line) for name in names for line in axis_name(name, width_px).split("\n"))
    return min(20 + NARROW_NAME_PX * longest, 0.42 * width_px)


def height_px(chart: Chart, width_px: int) -> int:
    """Height of a drawing of this width."""
    names = chart.y_axis.names if chart.horizontal else ()
    if names:
        rows = max(len(names), 3)
        return 260 + NARROW_ROW_PX * rows if is_narrow(width_px) else 190 + ROW_PX * rows
    if is_narrow(width_px):
        return 480 + KEY_LINE_PX * len(keyed_series(chart, width_px))
    return round(max(420, min(width_px * 0.62, 900)))

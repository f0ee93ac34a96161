"""Charts that leave little room: many long names, equal values, ends that are bounds, marks at one place."""

from dataclasses import replace
from datetime import date

from app.figures.chart import Axis, Chart, ReferenceLine, Region, Series
from app.figures.date_axis import day_number
from app.figures.palette import cues

LONG = [
    f"Unpronounceably & Daughters of Long Wharf Model {n} with a Second Filter and a Night Setting" for n in range(40)
]
MINUTES = tuple(float(minute) for minute in range(0, 121, 2))


def _chart(name: str, series: tuple[Series, ...], **more: object) -> Chart:
    known: dict[str, object] = {
        "title": f"{LONG[0]} clears the room in 13.6 min, half the time of {LONG[1]}",
        "subtitle": "PM2.5 in a room with a rather long name, levels in µg/m³, 95 % intervals, from unit on",
        "x_axis": Axis("Time from unit on", "min", low=0.0, high=120.0),
        "y_axis": Axis("PM2.5", "µg/m³", low=0.0),
    }
    known |= more
    source = "A bench with a long name, an invented demonstration. Trials 1 to 40, 2025-01-01 to 2026-03-31."
    return Chart(name=name, series=series, alt_text="-", source_line=source, **known)  # type: ignore[arg-type]


def curves(end: float = 120.0, scale: str = "linear", rate: float = 0.02) -> Chart:
    """Forty curves that end at one level, every second one in a bound."""
    series: list[Series] = []
    for place, (name, (colour, dash)) in enumerate(zip(LONG, cues(40), strict=True)):
        minutes = tuple(minute for minute in MINUTES if minute <= end)
        levels = tuple(300 * 2.718 ** (-(rate + 0.001 * (place % 4)) * minute) for minute in minutes)
        bound = (*(False for _ in minutes[1:]), place % 2 == 1)
        series.append(Series(f"{name}, reading", "points", minutes, levels, faint=True, colour=colour))
        series.append(Series(name, "line", minutes, levels, censored=bound, colour=colour, dash=dash, end_label=name))
    lines = (ReferenceLine("y", 10.0, "clear level 10 µg/m³"), ReferenceLine("y", 298.0, "start level 298 µg/m³"))
    axis = Axis("PM2.5", "µg/m³", scale, low=1.0 if scale == "log" else 0.0)  # type: ignore[arg-type]
    return _chart("curves", tuple(series), reference_lines=lines, y_axis=axis)


def equal_points(far: float = 0.0) -> Chart:
    """Forty points with names, at one place or along a narrow line."""
    series = tuple(
        Series(name, "points", (45.0 + far * place,), (300.0 + far * place,), end_label=f"{name}, {100 + place} USD")
        for place, name in enumerate(LONG)
    )
    others = Series(
        "beaten by another setting, or without a price", "points", (30.0, 60.0), (20.0, 400.0), colour=None, faint=True,
        in_legend=True,
    )  # fmt: skip
    lines = (ReferenceLine("y", 300.0, "needed for 30 m²"), ReferenceLine("x", 45.0, "sound limit"))
    return _chart(
        "points", (others, *series), reference_lines=lines, x_axis=Axis("Sound", "dB(A)", low=25.0, high=65.0)
    )


def intervals() -> Chart:
    names = tuple(LONG)
    values = tuple(140.0 if place > 20 else 12.0 for place in range(40))
    times = Series(
        "time to clear", "interval", values, names, low=tuple(11.0 if value < 20 else None for value in values),
        high=tuple(14.0 if value < 20 else None for value in values),
        censored=tuple(value > 20 for value in values), in_legend=True,
    )  # fmt: skip
    return _chart(
        "intervals", (times,), x_axis=Axis("Time to clear", "min", low=0.0), y_axis=Axis("", names=names),
        horizontal=True, reference_lines=(ReferenceLine("x", 12.0, "needed for a room of 30 m² and a half"),),
    )  # fmt: skip


def bars() -> Chart:
    names = tuple(LONG)
    series = (
        Series("energy", "bar", tuple(30.0 for _ in names), names),
        Series("filters and other consumables that have to be replaced", "bar", tuple(9.0 for _ in names), names),
        Series("at least", "interval", (39.0,), (names[0],), censored=(True,), colour=None, in_legend=True),
    )
    axis = Axis("A running cost per year whose name is longer than a phone is wide", "USD", low=0.0)
    return _chart("bars", series, x_axis=axis, y_axis=Axis("", names=names), horizontal=True)


def marks() -> Chart:
    """A trial whose marks are at one place, with its level line through all readings."""
    readings = Series("reading", "points", MINUTES, tuple(10.5 for _ in MINUTES), faint=True)
    fit = Series("fit", "line", MINUTES, tuple(10.0 for _ in MINUTES))
    lines = [ReferenceLine("y", 10.0, "clear level 10 µg/m³")]
    lines += [ReferenceLine("x", 60.0, words) for words in ("smoke", "unit on", "an end of the run", "Decay starts")]
    lines += [
        ReferenceLine("x", 120.0, "the very last reading of the log"),
        ReferenceLine("x", 0.0, "the first reading"),
    ]
    return _chart("marks", (readings, fit), reference_lines=tuple(lines), regions=(Region(60.0, 61.0, "fit window"),))


def prices() -> Chart:
    first, last = day_number(date(2025, 1, 1)), day_number(date(2026, 1, 1))
    series = tuple(
        Series(name, "step", (first, last - 30, last), (50.0, 60.0, 60.0), colour=colour, dash=dash, end_label=name)
        for name, (colour, dash) in zip(LONG, cues(40), strict=True)
    )
    return _chart(
        "prices", series, x_axis=Axis("Day", scale="days", low=first - 10, high=last + 10), y_axis=Axis("Price", "USD")
    )


def ideographs() -> Chart:
    """Names of letters that the widths do not list."""
    chart = curves()
    return replace(chart, series=tuple(replace(each, end_label="清净机" * 9) for each in chart.series[1:8:2]))


HOSTILE = {
    "curves": curves(),
    "curves that end early": curves(60.0),
    "curves on a logarithmic axis": curves(scale="log", rate=0.03),
    "points at one place": equal_points(),
    "points along a line": equal_points(0.4),
    "intervals": intervals(),
    "bars": bars(),
    "marks": marks(),
    "prices": prices(),
    "ideographs": ideographs(),
}

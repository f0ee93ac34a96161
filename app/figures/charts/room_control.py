"""Control charts of a room: single runs with their limits, and the moving average of their scores."""

import math
from collections.abc import Sequence
from datetime import date

from app.compute.control_charts.chart import ChartPoint, ControlChart, Phase
from app.compute.control_charts.limits import EWMA_WEIGHT
from app.compute.statistics.measured import coverage_factor_95
from app.compute.wording.numbers import counted, plus_minus
from app.compute.wording.rounding import rounded_text
from app.figures.chart import Axis, Chart, ReferenceLine, Region, Series
from app.figures.charts.house_style import house_style
from app.figures.date_axis import day_number
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.results.control_charts.room_charts import CHECK_UNIT, RoomCharts
from app.services.results.control_charts.words import CHECK_TERMS, NATURAL_TERMS, ChartTerms, chart_finding, day_of

LATEST_RUNS = 120  # drawn unless all are asked for: some years of runs, each of them still to be told from the next
_EPOCH = 719_163.0  # day number of 1970-01-01 on a date axis
_NO_DATA = date(2026, 1, 1)  # where the axis of a chart without runs begins
_IN_CONTROL, _OUTSIDE = 0, 1


def terms_of(of: str) -> ChartTerms:
    return CHECK_TERMS if of == CHECK_UNIT else NATURAL_TERMS


def room_control_chart(charts: RoomCharts, of: str, facts: ChartFacts, most: int | None = LATEST_RUNS) -> Chart:
    """Each run with its 95 % interval, the centre and the limits of its reference period, and what changed.

    most : number of runs drawn, the latest; None: all
    """
    terms, chart = terms_of(of), charts.chart(of)
    points = _latest(chart.points, most)
    inside = [point for point in points if not point.outside]
    outside = [point for point in points if point.outside]
    title = f"{terms.what[:1].upper()}{terms.what[1:]}"
    series = [_runs("Run", inside, terms, _IN_CONTROL), _runs("Outside the limits", outside, terms, _OUTSIDE)]
    return Chart(
        name=f"room-control-{of}",
        title=chart_finding(chart, terms),
        subtitle=_subtitle(charts, len(chart.points), most, "limits widen with a run's own uncertainty"),
        x_axis=_days(points),
        y_axis=_values(title, "m³/h" if of == CHECK_UNIT else "1/h", points),
        series=(*(each for phase in chart.phases for each in _limits(phase, points)), *series),
        alt_text=control_text(charts, of),
        source_line=facts.source_line(counted(len(chart.points), terms.run, terms.run.replace("run", "runs", 1))),
        reference_lines=_changes(charts, points),
        regions=_references(chart, points),
        x_column="day",
        y_column="clean_air_m3_per_h" if of == CHECK_UNIT else "natural_decay_per_h",
        house=house_style(facts),
    )


def room_ewma_chart(charts: RoomCharts, of: str, facts: ChartFacts, most: int | None = LATEST_RUNS) -> Chart:
    """Moving average of the scores of the runs, with its limits; a lasting shift shows here first. `most` as above"""
    terms, chart = terms_of(of), charts.chart(of)
    points = _averaged(chart, most)
    series: list[Series] = []
    for phase in chart.phases:
        own = [point for point in phase.points if point.ewma is not None and point.run.day >= _first(points)]
        if own:
            days = tuple(_day(point) for point in own)
            limits = [point.ewma_limit or 0.0 for point in own]
            series += [
                Series("Moving average", "line", days, tuple(point.ewma for point in own), colour=_IN_CONTROL),
                _reference("Upper limit", days, limits),
                _reference("Lower limit", days, [-limit for limit in limits]),
            ]
    outside = [point for point in points if point.ewma_outside]
    series.append(
        Series(
            "Outside the limits",
            "points",
            tuple(_day(point) for point in outside),
            tuple(point.ewma for point in outside),
            hover=tuple(f"Trial {point.run.run_id}, {day_of(point.run.day)}" for point in outside),
            colour=_OUTSIDE,
            in_legend=bool(outside),
        )
    )
    return Chart(
        name=f"room-control-{of}-ewma",
        title=_shift_title(chart, terms),
        subtitle=_subtitle(charts, len(chart.points), most, f"each new run weighs {EWMA_WEIGHT:g}"),
        x_axis=_days(points),
        y_axis=_scores(points),
        series=tuple(series),
        alt_text=ewma_text(charts, of, most),
        source_line=facts.source_line(counted(len(points), terms.run, terms.run.replace("run", "runs", 1))),
        reference_lines=_changes(charts, points),
        x_column="day",
        y_column="moving_average_of_scores",
        house=house_style(facts),
    )


def ewma_text(charts: RoomCharts, of: str, most: int | None) -> str:
    """Finding of the moving average in words and numbers. `most` : of the runs drawn"""
    terms, chart = terms_of(of), charts.chart(of)
    points = _averaged(chart, most)
    outside = sum(point.ewma_outside for point in points)
    return f"{_shift_title(chart, terms)}. {counted(outside, 'run')} of {len(points)} outside the limits."


def _averaged(chart: ControlChart, most: int | None) -> Sequence[ChartPoint]:
    """The latest runs with a moving average."""
    return _latest([point for point in chart.points if point.ewma is not None], most)


def _latest(points: Sequence[ChartPoint], most: int | None) -> Sequence[ChartPoint]:
    return points if most is None else points[-most:]


def control_text(charts: RoomCharts, of: str) -> str:
    """Finding, centre and limits in words and numbers."""
    terms, chart = terms_of(of), charts.chart(of)
    words = f"{charts.room.name}: {chart_finding(chart, terms)}"
    limits = chart.phases[-1].limits if chart.phases else None
    if limits is None:
        return words
    centre = plus_minus(limits.centre, limits.centre_uncertainty)
    spread = rounded_text(100 * limits.spread / abs(limits.centre), 1) if limits.centre else "–"
    return (
        f"{words} Centre {centre} {terms.unit_of_measure} from {counted(len(limits.run_ids), 'reference run')}, spread "
        f"between runs {spread} %."
    )


def _shift_title(chart: ControlChart, terms: ChartTerms) -> str:
    number = sum(not shift.restarted for shift in chart.shifts)
    return f"{counted(number, 'shift') if number else 'No shift'} of the {terms.what} found"


def _subtitle(charts: RoomCharts, runs: int, most: int | None, words: str) -> str:
    aerosol = "" if charts.key.aerosol == "smoke" else f", {charts.key.aerosol}"
    cut = f"; the latest {most} of {runs} runs" if most is not None and runs > most else ""
    return f"{charts.room.name}, {channel(charts.key.channel).label}{aerosol}; {words}{cut}"


def _day(point: ChartPoint) -> float:
    return point.run.day + _EPOCH


def _first(points: Sequence[ChartPoint]) -> float:
    return points[0].run.day if points else 0.0


def _days(points: Sequence[ChartPoint]) -> Axis:
    if not points:
        return Axis("Day", scale="days", low=day_number(_NO_DATA), high=day_number(_NO_DATA) + 365)
    first, last = _day(points[0]), _day(points[-1])
    air = max(5.0, 0.04 * (last - first))
    return Axis("Day", scale="days", low=first - air, high=last + air)


def _values(title: str, unit_symbol: str, points: Sequence[ChartPoint]) -> Axis:
    """From the lowest to the highest end of a run or limit; a chart of changes need not begin at zero."""
    ends = [end for point in points for end in (_low(point), _high(point), point.low, point.high) if end is not None]
    if not ends:
        return Axis(title, unit_symbol)
    air = 0.06 * (max(ends) - min(ends)) or 0.1
    return Axis(title, unit_symbol, low=min(ends) - air, high=max(ends) + air)


def _scores(points: Sequence[ChartPoint]) -> Axis:
    most = max((max(abs(point.ewma or 0.0), point.ewma_limit or 0.0) for point in points), default=1.0)
    return Axis("Moving average of scores", "standard deviations", low=-1.08 * most, high=1.08 * most)


def _low(point: ChartPoint) -> float:
    return point.run.value - coverage_factor_95(math.inf) * point.run.uncertainty


def _high(point: ChartPoint) -> float:
    return point.run.value + coverage_factor_95(math.inf) * point.run.uncertainty


def _runs(name: str, points: Sequence[ChartPoint], terms: ChartTerms, colour: int) -> Series:
    return Series(
        name,
        "interval",
        tuple(_day(point) for point in points),
        tuple(point.run.value for point in points),
        low=tuple(map(_low, points)),
        high=tuple(map(_high, points)),
        hover=tuple(
            f"Trial {point.run.run_id}, {day_of(point.run.day)}: "
            f"{plus_minus(point.run.value, point.run.uncertainty)} {terms.unit_of_measure}"
            for point in points
        ),
        colour=colour,
        in_legend=bool(points),
    )


def _limits(phase: Phase, drawn: Sequence[ChartPoint]) -> list[Series]:
    own = [point for point in phase.points if point.low is not None and point.run.day >= _first(drawn)]
    if phase.limits is None or not own:
        return []
    days = tuple(_day(point) for point in own)
    return [
        _reference("Centre", days, [phase.limits.centre] * len(own), dash=0),
        _reference("Lower limit", days, [point.low or 0.0 for point in own]),
        _reference("Upper limit", days, [point.high or 0.0 for point in own]),
    ]


def _reference(name: str, days: tuple[float, ...], values: Sequence[float], dash: int = 1) -> Series:
    return Series(name, "line", days, tuple(values), colour=None, dash=dash, end_label=name.lower())


def _references(chart: ControlChart, drawn: Sequence[ChartPoint]) -> tuple[Region, ...]:
    found = []
    for phase in chart.phases:
        days = [_day(point) for point in phase.points if point.in_reference and point.run.day >= _first(drawn)]
        if days:
            found.append(Region(days[0], days[-1], "reference"))
    return tuple(found)


def _changes(charts: RoomCharts, drawn: Sequence[ChartPoint]) -> tuple[ReferenceLine, ...]:
    """Changes of the room within the days drawn; of one day one label."""
    axis = _days(drawn)
    by_day: dict[float, list[str]] = {}
    for change in charts.changes:
        day = day_number(change.changed_on)
        if drawn and (axis.low or 0.0) <= day <= (axis.high or 0.0) and change.kind not in by_day.get(day, []):
            by_day.setdefault(day, []).append(change.kind)
    return tuple(ReferenceLine("x", day, ", ".join(kinds)) for day, kinds in sorted(by_day.items()))

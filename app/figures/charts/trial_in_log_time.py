"""Charts of one trial in log time: readings, marks, fit window, fit with band; and the residuals.

The axis shows minutes from the first reading, like the marks, so that a mark can be read from the chart.
"""

from dataclasses import replace

from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.figures.chart import Axis, Chart, ReferenceLine, Region, Series
from app.figures.charts.decay_overlay import curve_series
from app.figures.charts.house_style import house_style
from app.figures.charts.trial_decay import residuals_chart, trial_title, trial_words
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.trials.drawing import TrialDrawing

TIME_TITLE = "Time after the first reading"


def trial_chart(drawing: TrialDrawing, facts: ChartFacts, *, scale: str = "linear") -> Chart:
    """The whole log with its phases; `scale` is "linear" or "log"."""
    curve, on = drawing.curve, drawing.unit_on_min
    label = channel(drawing.channel).label
    series = [_later(each, on) for each in curve_series(curve, label, 0, 0)]
    if not curve.fit_minutes:  # no fit: the readings themselves, as points
        series = [Series(f"{label}, reading", "points", _shifted(curve.minutes, on), curve.levels, faint=True)]
    positive = [level for level in curve.levels if level > 0]
    return Chart(
        name="trial",
        title=trial_title(curve),
        subtitle=f"{label}, all readings of the log",
        x_axis=_time_axis(drawing),
        y_axis=Axis(label, drawing.unit, scale, low=min(positive, default=0.1) * 0.9 if scale == "log" else 0.0),  # type: ignore[arg-type]
        series=tuple(series),
        alt_text=trial_words(curve, drawing.unit),
        source_line=facts.source_line(*([f"Trial {curve.trial_id}"] if curve.trial_id else [])),
        reference_lines=_lines(drawing),
        regions=()
        if curve.fit_window_min is None
        else (Region(curve.fit_window_min[0] + on, curve.fit_window_min[1] + on, "fit window"),),
        x_column="minutes_after_first_reading",
        y_column=f"{drawing.channel}_level",
        house=house_style(facts),
    )


def trial_residuals_chart(drawing: TrialDrawing, facts: ChartFacts) -> Chart:
    """Readings minus the fitted curve over the time axis of the whole log, as in the chart above it."""
    chart = residuals_chart(drawing.curve, facts, channel_name=drawing.channel, unit=drawing.unit)
    on = drawing.unit_on_min
    return replace(
        chart,
        name="trial-residuals",
        x_axis=_time_axis(drawing),
        series=tuple(_later(each, on) for each in chart.series),
        x_column="minutes_after_first_reading",
    )


def _time_axis(drawing: TrialDrawing) -> Axis:
    minutes, on = drawing.curve.minutes, drawing.unit_on_min
    return Axis(TIME_TITLE, "min", low=min(minutes, default=0.0) + on, high=max(minutes, default=1.0) + on)


def _lines(drawing: TrialDrawing) -> tuple[ReferenceLine, ...]:
    curve, unit = drawing.curve, drawing.unit
    level = rounded_text(curve.clear_level, decimals_from_size(curve.clear_level, 2))
    lines = [ReferenceLine("y", curve.clear_level, f"clear level {level}\u00a0{unit}")]
    if drawing.smoke_start_min is not None:
        lines.append(ReferenceLine("x", drawing.smoke_start_min, "smoke"))
    if drawing.smoke_end_min is not None:
        lines.append(ReferenceLine("x", drawing.smoke_end_min, "smoke ends"))
    lines.append(ReferenceLine("x", drawing.unit_on_min, "Decay starts" if curve.kind == EMPTY_ROOM else "unit on"))
    lines.append(ReferenceLine("x", drawing.end_min, "end"))
    return tuple(lines)


def _later(series: Series, minutes: float) -> Series:
    """Shifts a series from time since unit on to log time."""
    return replace(series, x=_shifted(tuple(float(x) for x in series.x), minutes), end_label="")


def _shifted(values: tuple[float, ...], by: float) -> tuple[float, ...]:
    return tuple(float(f"{value + by:.6g}") for value in values)

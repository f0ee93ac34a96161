"""Chart of one trial: readings, unit on, fit window, and fitted curve with band."""

from bisect import bisect_right
from dataclasses import replace

from app.compute.wording.numbers import level_text, not_within, plus_minus
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.figures.chart import Axis, Chart, ReferenceLine, Region, Series
from app.figures.charts.decay_overlay import curve_series
from app.figures.charts.house_style import house_style
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.trials.decay_curves import DecayCurve


def trial_decay_chart(
    curve: DecayCurve, facts: ChartFacts, *, channel_name: str, unit: str, scale: str = "linear"
) -> Chart:
    """The whole log of a trial with its phases; `scale` is "linear" or "log"."""
    label = channel(channel_name).label
    first = min(curve.minutes, default=0.0)
    positive = [level for level in curve.levels if level > 0]
    level = rounded_text(curve.clear_level, decimals_from_size(curve.clear_level, 2))
    lines = [
        ReferenceLine("x", 0.0, "Decay starts" if curve.kind == "empty room" else "unit on"),
        ReferenceLine("y", curve.clear_level, f"clear level {level}\u00a0{unit}"),
    ]
    return Chart(
        name="trial-decay",
        title=trial_title(curve),
        subtitle=f"{label} in {curve.room}, {curve.started_at.date().isoformat()}",
        x_axis=Axis("Time from unit on", "min", low=first, high=max(curve.minutes, default=1.0)),
        y_axis=Axis(label, unit, scale, low=min(positive, default=0.1) * 0.9 if scale == "log" else 0.0),  # type: ignore[arg-type]
        series=tuple(replace(series, end_label="") for series in curve_series(curve, label, 0, 0)),
        alt_text=trial_words(curve, unit),
        source_line=facts.source_line(f"Trial {curve.trial_id}"),
        reference_lines=tuple(lines),
        regions=() if curve.fit_window_min is None else (Region(*curve.fit_window_min, "fit window"),),
        x_column="minutes_from_unit_on",
        y_column=f"{channel_name}_level",
        house=house_style(facts),
    )


def residuals_chart(curve: DecayCurve, facts: ChartFacts, *, channel_name: str, unit: str) -> Chart:
    """Readings minus the fitted curve, inside the fit window; a good fit shows no pattern."""
    minutes, residuals = residuals_of(curve)
    window = curve.fit_window_min or (0.0, 1.0)
    reach = max((abs(value) for value in residuals), default=1.0) * 1.1 or 1.0
    largest = rounded_text(reach / 1.1, decimals_from_size(reach))
    return Chart(
        name="residuals",
        title=f"Residuals of trial {curve.trial_id}: up to {largest} {unit}"
        if residuals
        else "No usable decay, so no residuals",
        subtitle=f"{channel(channel_name).label}, reading minus fitted curve, within the fit window",
        x_axis=Axis("Time from unit on", "min", low=window[0], high=window[1]),
        y_axis=Axis("Residual", unit, low=-reach, high=reach),
        series=(Series("residual", "points", minutes, residuals, colour=0),),
        alt_text=f"{len(residuals)} residuals, the largest {largest} {unit}.",
        source_line=facts.source_line(f"Trial {curve.trial_id}"),
        reference_lines=(ReferenceLine("y", 0.0, ""),),
        x_column="minutes_from_unit_on",
        y_column="residual",
        house=house_style(facts),
    )


def residuals_of(curve: DecayCurve) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Minutes and residuals of the readings shown inside the fit window; empty without a fit."""
    if curve.fit_window_min is None or not curve.fit_minutes:
        return (), ()
    low, high = curve.fit_window_min
    pairs = [
        (minute, level - _between(curve.fit_minutes, curve.fit_levels, minute))
        for minute, level in zip(curve.minutes, curve.levels, strict=True)
        if low <= minute <= high
    ]
    return tuple(minute for minute, _ in pairs), tuple(residual for _, residual in pairs)


def _between(places: tuple[float, ...], values: tuple[float, ...], at: float) -> float:
    """The fitted level between two points of the drawn curve, by linear interpolation."""
    after = min(max(bisect_right(places, at), 1), len(places) - 1)
    share = (at - places[after - 1]) / (places[after] - places[after - 1])
    return values[after - 1] + share * (values[after] - values[after - 1])


def trial_title(curve: DecayCurve) -> str:
    """Which trial it is, with its decay rate where that is usable."""
    named = f"{curve.name} at “{curve.setting}”" if curve.setting else curve.name
    trial = f"Trial {curve.trial_id}: {named}" if curve.trial_id else named
    if not curve.usable or curve.total_decay_per_h is None:
        return f"{trial}, no usable decay"
    return f"{trial} decays at {plus_minus(curve.total_decay_per_h, curve.total_decay_uncertainty_per_h)} per hour"


def trial_words(curve: DecayCurve, unit: str) -> str:
    """The finding of this one trial; its time to clear names the level that it started from."""
    if not curve.usable or curve.total_decay_per_h is None:
        return "This trial has no usable decay." if curve.trial_id else "No decay could be fitted."
    rate = plus_minus(curve.total_decay_per_h, curve.total_decay_uncertainty_per_h)
    sentences = [f"In this trial the level decays at {rate} per hour."]
    start = level_text(curve.start_level, unit)
    if curve.time_to_clear_min is not None:
        time = plus_minus(curve.time_to_clear_min, curve.time_to_clear_uncertainty_min)
        sentences.append(f"From {start} it reached the clear level in {time}\u00a0min.")
    elif curve.not_cleared_before_min is not None:
        sentences.append(
            f"From {start} it was not clear when the run ended ({not_within(curve.not_cleared_before_min)})."
        )
    return " ".join(sentences)

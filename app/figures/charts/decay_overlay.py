"""Chart of several decay curves on top of one another."""

import math
from dataclasses import replace

from app.compute.wording.numbers import counted, listed, measured_text, not_within
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.figures.palette import cues
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.trials.decay_curves import DecayCurve, DecayOverlay


def decay_overlay_chart(overlay: DecayOverlay, facts: ChartFacts) -> Chart:
    """Readings as faint points, fits as lines with bands, labels at the ends, the empty room in a neutral colour."""
    chosen = overlay.choices
    label = channel(chosen.channel).label
    names = curve_names(overlay.curves)
    series: list[Series] = []
    for curve, name, (colour, dash) in zip(overlay.curves, names, cues(len(overlay.curves)), strict=True):
        series += curve_series(curve, name, colour, dash)
    end = max((curve.end_min for curve in overlay.curves), default=0.0)
    if overlay.empty_room is not None:
        empty_room = overlay.empty_room if not end else until(overlay.empty_room, end)
        series += curve_series(empty_room, "Empty room", None, 0)
        end = end or empty_room.end_min
    unit = "% of start" if chosen.normalised else overlay.unit
    drawn = [*overlay.curves, *([overlay.empty_room] if overlay.empty_room else [])]
    log = chosen.scale == "log"
    return Chart(
        name="decay-overlay",
        title="How fast does the smoke clear?",
        subtitle=_subtitle(overlay, label),
        x_axis=Axis("Time from unit on", "min", low=0.0, high=end or 1.0),
        y_axis=Axis(label, unit, chosen.scale, low=_log_floor(drawn) if log else 0.0),  # type: ignore[arg-type]
        series=tuple(series),
        alt_text=overlay_text(overlay),
        source_line=facts.source_line(_runs(overlay)),
        reference_lines=_clear_level(overlay, unit),
        x_column="minutes_from_unit_on",
        y_column="percent_of_start" if chosen.normalised else f"{chosen.channel}_level",
        house=house_style(facts),
    )


def curve_series(curve: DecayCurve, name: str, colour: int | None, dash: int) -> list[Series]:
    """The series of one curve; without a fit the readings are joined."""
    end = (False,) * max(len(curve.fit_minutes) - 1, 0)
    series = []
    if curve.fit_minutes:
        series = [
            Series(f"{name}, reading", "points", curve.minutes, curve.levels, colour=colour, faint=True),
            Series(
                f"{name}, 95 % band",
                "band",
                curve.fit_minutes,
                curve.fit_levels,
                low=curve.fit_low,
                high=curve.fit_high,
                colour=colour,
            ),
            Series(
                f"{name}, fit",
                "line",
                curve.fit_minutes,
                curve.fit_levels,
                censored=(*end, not curve.cleared),
                colour=colour,
                dash=dash,
                end_label=name,
            ),
        ]
    elif curve.minutes:
        series = [
            Series(f"{name}, reading", "line", curve.minutes, curve.levels, colour=colour, dash=dash, end_label=name)
        ]
    return series


def until(curve: DecayCurve, end_min: float) -> DecayCurve:
    """The curve up to a time; a cut curve has no open end, because the run itself went on."""
    readings = sum(1 for minute in curve.minutes if minute <= end_min)
    fitted = sum(1 for minute in curve.fit_minutes if minute <= end_min)
    return replace(
        curve,
        minutes=curve.minutes[:readings],
        levels=curve.levels[:readings],
        fit_minutes=curve.fit_minutes[:fitted],
        fit_levels=curve.fit_levels[:fitted],
        fit_low=curve.fit_low[:fitted],
        fit_high=curve.fit_high[:fitted],
        end_min=min(curve.end_min, end_min),
        cleared=curve.cleared or curve.end_min > end_min,
    )


def curve_names(curves: tuple[DecayCurve, ...]) -> list[str]:
    """Names of the curves, extended only where two would be equal."""
    names = [curve.name for curve in curves]
    with_setting = [
        f"{curve.name}, {curve.setting}" if names.count(curve.name) > 1 and curve.setting else curve.name
        for curve in curves
    ]
    return [
        f"{name}, trial {curve.trial_id}" if with_setting.count(name) > 1 else name
        for curve, name in zip(curves, with_setting, strict=True)
    ]


def overlay_text(overlay: DecayOverlay) -> str:
    """The finding in words and numbers: fastest, slowest, and runs that did not clear."""
    curves = overlay.curves
    if not curves:
        return "No curves: the selection has no usable decay. Select others below."
    names = dict(zip((curve.trial_id for curve in curves), curve_names(curves), strict=True))
    cleared = [(curve.time_to_clear_min, curve) for curve in curves if curve.time_to_clear_min is not None]
    sentences = []
    if cleared:
        first_time, first = min(cleared, key=lambda pair: pair[0])
        sentence = f"{names[first.trial_id]} clears the room in {rounded_text(first_time, 0)}\u00a0min"
        last_time, last = max(cleared, key=lambda pair: pair[0])
        if last is not first:
            sentence += f", {names[last.trial_id]} in {rounded_text(last_time, 0)}\u00a0min"
        sentences.append(sentence + ".")
    never = [curve for curve in curves if curve.not_cleared_before_min is not None and not curve.cleared]
    if never:
        bounds = [f"{names[c.trial_id]} ({not_within(c.not_cleared_before_min or 0.0)})" for c in never]
        sentences.append(f"Not cleared before the end of the run: {listed(bounds)}.")
    if overlay.empty_room is not None and overlay.empty_room.total_decay_per_h is not None:
        words = measured_text(overlay.empty_room.total_decay_per_h, overlay.empty_room.total_decay_uncertainty_per_h)
        sentences.append(f"The empty room decays at {words.value}\u00a0±\u00a0{words.uncertainty} per hour.")
    return " ".join(sentences) or "No curve reaches its clear level."


def _subtitle(overlay: DecayOverlay, label: str) -> str:
    curves = overlay.curves
    rooms = sorted({curve.room for curve in curves})
    level = "levels in percent of the start level" if overlay.choices.normalised else f"levels in {overlay.unit}"
    subtitle = f"{label} in {listed(rooms)}, {level}, from unit on" if rooms else label
    if overlay.spread_of > len(curves):
        subtitle += f"; {len(curves)} of {overlay.spread_of} units, spread from fastest to slowest"
    return subtitle


def _runs(overlay: DecayOverlay) -> str:
    if not overlay.curves:
        return ""
    days = sorted(curve.started_at.date().isoformat() for curve in overlay.curves)
    trials = listed([str(curve.trial_id) for curve in overlay.curves])
    span = days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
    plural = "Trial" if len(overlay.curves) == 1 else "Trials"
    empty = f", empty-room trial {overlay.empty_room.trial_id}" if overlay.empty_room else ""
    return f"{plural} {trials}{empty}, {span}; {counted(len(overlay.curves), 'curve')}"


def _clear_level(overlay: DecayOverlay, unit: str) -> tuple[ReferenceLine, ...]:
    """The clear level, if all curves share one."""
    levels = {round(curve.clear_level, 6) for curve in overlay.curves}
    if len(levels) != 1:
        return ()
    level = levels.pop()
    text = rounded_text(level, decimals_from_size(level, 2))
    return (ReferenceLine("y", level, f"clear level {text}\u00a0{unit}"),)


def _log_floor(curves: list[DecayCurve]) -> float:
    """The decade below the lowest level shown; a logarithmic axis has no zero."""
    lowest = [level for curve in curves for level in (*curve.levels, *curve.fit_levels) if level > 0]
    return 10.0 ** math.floor(math.log10(min(lowest))) if lowest else 0.1

"""Chart of several decay curves on top of one another."""

import math
from dataclasses import replace

from app.compute.wording.numbers import counted, listed, measured_text, not_within
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.figures.palette import cues
from app.figures.tables.quantity_cells import standard_time_cell
from app.reading_files.headers.channels import channel, is_indicative
from app.services.bench.chart_facts import ChartFacts
from app.services.trials.decay_curves import DecayCurve, DecayOverlay

_MOST_NAMED = 4


def decay_overlay_chart(overlay: DecayOverlay, facts: ChartFacts) -> Chart:
    """Readings as faint points, fits as lines with bands, labels at the ends, the empty room in a neutral colour."""
    chosen = overlay.choices
    label = channel(chosen.channel).label + (" (indicative only)" if is_indicative(chosen.channel) else "")
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
        title=overlay_title(overlay),
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


def overlay_title(overlay: DecayOverlay) -> str:
    """The times to 95 % reduction at both ends, of the units' results from all trials; no order is claimed."""
    times = _times(overlay)
    if not times:
        return "Decay of the smoke" if overlay.curves else "No usable decay"
    ends = [times[0]] if len(times) == 1 else [times[0], times[-1]]
    return "95\u00a0% of the smoke gone " + ", ".join(f"in {time} with {name}" for name, time in ends)


def overlay_text(overlay: DecayOverlay) -> str:
    """The finding in words and numbers: the units' times to 95 % reduction, which do not depend on where a run started,
    and the trials that did not clear.
    """
    curves = overlay.curves
    if not curves:
        return "No curves: the selection has no usable decay. Select others below."
    sentences = []
    times = _times(overlay)
    if times:
        ends = times if len(times) <= _MOST_NAMED else [times[0], times[-1]]
        named = listed([f"{name} {time}" for name, time in ends])
        sentences.append(f"Time to 95\u00a0% reduction, from all trials of each: {named}.")
    names = dict(zip((curve.trial_id for curve in curves), curve_names(curves), strict=True))
    never = [curve for curve in curves if curve.not_cleared_before_min is not None and not curve.cleared]
    if never:
        bounds = [_not_cleared(curve, names[curve.trial_id]) for curve in never]
        sentences.append(f"Not cleared before the end of the run: {listed(bounds)}.")
    if overlay.empty_room is not None and overlay.empty_room.total_decay_per_h is not None:
        words = measured_text(overlay.empty_room.total_decay_per_h, overlay.empty_room.total_decay_uncertainty_per_h)
        sentences.append(f"The empty room decays at {words.value}\u00a0±\u00a0{words.uncertainty} per hour.")
    return " ".join(sentences) or "None of the selected units has a measurable rate."


def _not_cleared(curve: DecayCurve, name: str) -> str:
    trial = f"trial {curve.trial_id}"
    return f"{name if trial in name else f'{name}, {trial}'} ({not_within(curve.not_cleared_before_min or 0.0)})"


def _times(overlay: DecayOverlay) -> list[tuple[str, str]]:
    """Name and time to 95 % reduction of each setting that is drawn, the shortest first, as the ranking shows it."""
    found: dict[int, tuple[float, str, str]] = {}
    for line, name in zip(overlay.lines, curve_names(overlay.curves), strict=True):
        if line is None or not line.has_rate or line.row.standard_clearing_time_min is None:
            continue
        cell = standard_time_cell(line)
        words = f"{'an estimated ' if cell.bound else ''}{cell.value}\u00a0min"
        found.setdefault(line.row.setting_id or 0, (line.row.standard_clearing_time_min, name, words))
    return [(name, words) for _, name, words in sorted(found.values())]


def _subtitle(overlay: DecayOverlay, label: str) -> str:
    curves = overlay.curves
    rooms = sorted({curve.room for curve in curves})
    level = "levels in percent of the start level" if overlay.choices.normalised else f"levels in {overlay.unit}"
    subtitle = f"{label} in {listed(rooms)}, {level}, from unit on" if rooms else label
    if overlay.spread_of > len(curves):
        subtitle += f"; {len(curves)} of {overlay.spread_of} units, spread from fastest to slowest"
    return f"{subtitle}; each curve is one trial"


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

"""Text report of the analysis of a log, for the terminal."""

from app.compute.clean_air.conversions import CUBIC_FEET_PER_MINUTE_PER_M3_PER_H
from app.compute.decay.result import ChannelDecay
from app.compute.decay.verdict import Verdict
from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import counted, level_text
from app.compute.wording.rounding import decimals_for, decimals_from_size, rounded_text
from app.services.results.analyse_log import AnalysisRequest, ChannelAnalysis, LogAnalysis


def report(analysis: LogAnalysis, request: AnalysisRequest) -> str:
    """The whole report as text."""
    table = analysis.table
    started = f"from {table.started_at:%Y-%m-%d %H:%M:%S} UTC" if table.clock_is_known else "by an unreliable clock"
    apart = f", {table.interval_s:g} s apart" if len(table.elapsed_s) > 1 else ""
    lines = [
        table.file_name,
        f"  {counted(len(table.elapsed_s), 'reading')} {started}{apart}; {table.rows_skipped} rows skipped",
        f"  channels: {', '.join(table.levels)}",
        f"  room: {request.room_volume.value:g} m³"
        + (f" ± {request.room_volume.uncertainty:g} m³" if not request.volume_is_exact else ", assumed exact"),
        f"  method: {analysis.method_name}, version {analysis.method_version}",
    ]
    lines += [f"  {note}" for note in table.notes]
    for name, channel in analysis.channels.items():
        lines += ["", *_channel_lines(name, channel)]
    return "\n".join(lines)


def _channel_lines(name: str, channel: ChannelAnalysis) -> list[str]:
    decay, fit = channel.decay, channel.decay.fit
    lines = [f"{name} [{decay.unit}]", *_verdict_lines(channel.verdict)]
    if channel.total_decay is None or fit is None:
        lines.append("  no decay rate")
    else:
        found = f"± {60 * decay.unit_on_uncertainty_h:.1f} min, detected from the data"
        on = found if decay.unit_on_found else "as given"
        lines += [
            _line("unit on", f"{60 * decay.unit_on_h:.1f} min into the log, {on}"),
            _line("level at unit on", f"{_level_text(decay)} {decay.unit}"),
            _line("background", f"{_as_text(fit.background)} {decay.unit}, {fit.background_choice}"),
            _line(
                "fit window",
                f"{60 * (fit.window_start_h - decay.unit_on_h):.1f} to "
                f"{60 * (fit.window_end_h - decay.unit_on_h):.1f} min from unit on, {fit.readings_fitted} readings",
            ),
            _line("total decay", f"{_as_text(channel.total_decay)} per hour"),
            _line("natural decay", f"{_as_text(channel.natural_decay)} per hour"),
            _line("clean air delivery rate", f"{_as_text(channel.clean_air_delivery_rate)} m³/h{_in_cfm(channel)}"),
            _line("air changes", f"{_as_text(channel.air_changes_per_h)} per hour"),
            _line("time to 95 % reduction", f"{_as_text(channel.standard_clearing_time_min)} min (95 % reduction)"),
        ]
    if channel.verdict.status != "unusable":
        lines.append(_line("time to clear", _time_to_clear(decay)))
    shown = set(channel.verdict.reasons)
    lines += [f"  {note.severity}: {note.text}" for note in channel.notes if note.message not in shown]
    return lines


def _verdict_lines(verdict: Verdict) -> list[str]:
    """The verdict with its reasons and what to do, before any number."""
    words = {"usable": "usable", "check": "usable after a check", "unusable": "unusable: no result is given"}
    lines = [_line("verdict", words[verdict.status])]
    lines += [f"    because: {reason}" for reason in verdict.reasons]
    return lines + [f"    do: {advice.words}" for advice in verdict.advice]


def _line(what: str, value: str) -> str:
    return f"  {what:<24}{value}"


def _as_text(quantity: Measured | AsymmetricMeasured | None) -> str:
    """Value, standard uncertainty and interval, rounded to the uncertainty."""
    if quantity is None:
        return "not known,"
    decimals = decimals_for(quantity.uncertainty)
    if decimals is None:
        decimals = decimals_from_size(quantity.value)
    if quantity.uncertainty == 0:
        return f"{rounded_text(quantity.value, decimals)}, assumed exact,"
    value, uncertainty, low, high = (
        rounded_text(number, decimals)
        for number in (quantity.value, quantity.uncertainty, quantity.low_95, quantity.high_95)
    )
    return f"{value} ± {uncertainty} ({low} to {high})"


def _in_cfm(channel: ChannelAnalysis) -> str:
    rate = channel.clean_air_delivery_rate
    return f" = {rate.value * CUBIC_FEET_PER_MINUTE_PER_M3_PER_H:.1f} cfm" if rate else ""


def _level_text(decay: ChannelDecay) -> str:
    measured = decay.start_level_measured
    return _as_text(measured) if measured else f"{decay.start_level:.1f} (too few readings for an uncertainty)"


def _time_to_clear(decay: ChannelDecay) -> str:
    clear, measured = decay.time_to_clear, decay.time_to_clear_measured
    level = level_text(clear.clear_level, decay.unit)
    if clear.reached:
        return f"{_as_text(measured) if measured else f'{clear.value_min:.1f}'} min to {level}"
    predicted = f"; the fitted curve reaches it after {_as_text(clear.predicted)} min" if clear.predicted else ""
    return f"{level} not within {clear.not_before_min:.0f} min{predicted}"
